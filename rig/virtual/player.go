package virtual

import (
	"math"

	wire "limbgauge/firmware-protocol"
)

// move is one move as the wire brings it: mdeg, mdeg/s, ms.
type move struct {
	kind    uint8
	segment uint16
	target  int32
	rate    uint32
	dwellMS uint32
}

// gone tells of a move that left a player's queue.
type gone struct {
	segment uint16
	how     wire.How
	atUS    int64
}

// player carries out the moves of one joint. A move ends when it should, not when someone looks, so
// a routine's length does not depend on how often run is called.
type player struct {
	command float64 // mdeg
	queue   []move  // the first one is under way
	from    float64 // command when it began
	beganUS int64
	fresh   bool // no move yet since arming: the next is slow
}

// start makes the player hold a command, as after arming.
func (p *player) start(command float64) {
	*p = player{command: command, from: command, fresh: true, queue: p.queue[:0]}
}

// add queues a move at a time.
func (p *player) add(m move, nowUS int64) {
	if p.fresh && (m.rate == 0 || m.rate > wire.StartRate) {
		m.rate = wire.StartRate
	}
	p.fresh = false
	if len(p.queue) == 0 {
		p.from, p.beganUS = p.command, nowUS
	}
	p.queue = append(p.queue, m)
}

// run brings the command to where it belongs at a time and returns the moves that ended meanwhile.
func (p *player) run(nowUS int64) (ended []gone) {
	for len(p.queue) > 0 {
		m := p.queue[0]
		target := float64(m.target)
		travel := 0.0 // us
		if m.rate > 0 {
			travel = math.Abs(target-p.from) / float64(m.rate) * 1e6
		}
		since := float64(nowUS - p.beganUS)
		if since < travel {
			p.command = p.from + (target-p.from)*since/travel
			return ended
		}
		p.command = target
		end := p.beganUS + int64(math.Round(travel)) + int64(m.dwellMS)*1000
		if nowUS < end {
			return ended
		}
		ended = append(ended, gone{m.segment, wire.Finished, end})
		p.queue = append(p.queue[:0], p.queue[1:]...)
		p.from, p.beganUS = target, end
	}
	return ended
}

// stop discards all moves and keeps the command.
func (p *player) stop(nowUS int64) (discarded []gone) {
	for _, m := range p.queue {
		discarded = append(discarded, gone{m.segment, wire.Discarded, nowUS})
	}
	p.queue = p.queue[:0]
	return discarded
}

// mark returns kind and segment of the move under way, 0, 0 when there is none.
func (p *player) mark() (kind uint8, segment uint16) {
	if len(p.queue) == 0 {
		return 0, 0
	}
	return p.queue[0].kind, p.queue[0].segment
}
