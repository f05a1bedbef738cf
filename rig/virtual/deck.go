package virtual

import (
	"cmp"
	"math"
)

// deck is a world with the stand's outputs: for each joint its moves and its pulses.
type deck struct {
	w        *World
	channels []channel
	pulseUS  int64 // when the pulses are renewed next
	frameUS  int64 // from one renewal to the next
	// onGone hears of moves that ended; nil when nobody cares.
	onGone func(joint int, g gone)
}

// channel is one servo output.
type channel struct {
	player
	pulses
	live bool
}

// ownFrameHz is how often a virtual stand renews its pulses where nobody asks for a rate: a digital
// servo's 250 Hz. A board's firmware comes with 50, which any servo bears; nothing burns here, and what is known of the
// command's delay in the runs of the virtual stand rests on 250.
const ownFrameHz = 250

func newDeck(w *World) *deck {
	d := &deck{w: w, channels: make([]channel, w.Joints()), pulseUS: w.TimeUS()}
	d.frame(0)
	return d
}

// frame sets how often a second pulses are renewed, 0 for the stand's own rate.
func (d *deck) frame(hz int) {
	d.frameUS = 1_000_000 / int64(cmp.Or(hz, ownFrameHz))
	d.pulseUS = min(d.pulseUS, d.w.TimeUS()+d.frameUS)
}

// arm begins a joint's pulses at a command in mdeg.
func (d *deck) arm(i int, command float64) {
	c := &d.channels[i]
	c.start(command)
	c.live = true
	d.pulse(i)
}

// limp ends a joint's pulses and returns the moves that were discarded.
func (d *deck) limp(i int) []gone {
	c := &d.channels[i]
	c.live = false
	d.w.Pulse(i, 0)
	return c.stop(d.w.TimeUS())
}

func (d *deck) pulse(i int) {
	c := &d.channels[i]
	d.w.Pulse(i, c.width(c.command))
}

// advance lets the world run to a time, renewing the pulses on their own grid.
func (d *deck) advance(toUS int64) {
	for {
		next := min(toUS, d.pulseUS)
		d.w.Advance(next)
		d.run()
		if next == d.pulseUS {
			for i := range d.channels {
				if d.channels[i].live {
					d.pulse(i)
				}
			}
			d.pulseUS += d.frameUS
		}
		if next == toUS {
			return
		}
	}
}

// run brings the commands to the present and ends the moves whose time has come.
func (d *deck) run() {
	for i := range d.channels {
		for _, g := range d.channels[i].player.run(d.w.TimeUS()) {
			if d.onGone != nil {
				d.onGone(i, g)
			}
		}
	}
}

// moving says whether any joint has a move under way.
func (d *deck) moving() bool {
	for i := range d.channels {
		if len(d.channels[i].queue) > 0 {
			return true
		}
	}
	return false
}

// pulses is the straight line between command and pulse width.
type pulses struct {
	minUS, maxUS   float64
	minCmd, maxCmd float64 // mdeg, joint side
}

// pulseStepUS is the tick of the timer that makes the pulses.
const pulseStepUS = 0.5

// width returns the pulse width for a command, as the timer can make it.
func (p pulses) width(command float64) float64 {
	us := p.minUS + (command-p.minCmd)/(p.maxCmd-p.minCmd)*(p.maxUS-p.minUS)
	return clamp(math.Round(us/pulseStepUS)*pulseStepUS, math.Min(p.minUS, p.maxUS), math.Max(p.minUS, p.maxUS))
}
