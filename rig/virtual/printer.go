package virtual

import (
	"math/rand/v2"
	"strconv"
	"strings"

	"limbgauge/rig"
)

// printer is a stand of the text form: it plays its routines by itself and prints a line for each
// sample (SPEC.md, section 10). It takes no commands.
type printer struct {
	opt   Options
	deck  *deck
	emit  func(line []byte) bool
	line  mangler
	tick  sampleClock
	seq   []uint16
	names []string
	goUS  int64 // when the routines begin, -1: they have
	buf   []byte
}

// pauseUS passes between the port's opening and the first motion.
const pauseUS = 1_000_000

func newPrinter(opt Options, w *World) *printer {
	p := &printer{opt: opt, deck: newDeck(w), seq: make([]uint16, w.Joints())}
	p.line = mangler{Line: w.line, rnd: rand.New(rand.NewPCG(opt.Truths[0].Seed, 0x6c696e65))}
	p.tick = newSampleClock(opt.Truths[0].Seed)
	// The characters that end a tag are written with a backslash before them.
	escape := strings.NewReplacer(",", `\,`, "=", `\=`, " ", `\ `)
	for _, j := range opt.Joints {
		p.names = append(p.names, escape.Replace(j.Name))
	}
	p.begin()
	return p
}

func (p *printer) begin() {
	for i := range p.deck.channels {
		p.deck.limp(i)
	}
	p.tick.start(p.deck.w.TimeUS(), p.opt.SampleHz)
	p.goUS = p.deck.w.TimeUS() + pauseUS
}

func (p *printer) receive([]byte, wallTime)           {}
func (p *printer) judge(wallTime)                     {}
func (p *printer) nowWorldUS() int64                  { return p.deck.w.TimeUS() }
func (p *printer) sendTo(emit func(line []byte) bool) { p.emit = emit }
func (p *printer) busy() bool                         { return p.goUS >= 0 || p.deck.moving() }

func (p *printer) opened() {
	clear(p.seq)
	p.begin()
}

func (p *printer) advance(toUS int64) {
	for p.tick.next <= toUS {
		p.deck.advance(p.tick.next)
		if p.goUS >= 0 && p.tick.next >= p.goUS {
			p.goUS = -1
			for i, r := range p.opt.Routines {
				if len(r.Moves) > 0 {
					p.deck.play(i, p.opt.Joints[i], r)
				}
			}
		}
		for i := range p.deck.channels {
			p.buf = p.appendLine(p.buf[:0], i)
			if line := p.line.frame(p.buf); line != nil {
				p.emit(line) // a line without room is lost; its number tells
			}
			p.seq[i]++
		}
		p.tick.step()
	}
	p.deck.advance(toUS)
}

func (p *printer) appendLine(b []byte, i int) []byte {
	r := p.deck.row(i, p.opt.Joints[i].Sensors) // as the sketch has zero and sense of its own
	b = append(b, "sample,joint="...)
	b = append(b, p.names[i]...)
	b = append(b, ' ')
	field := func(name string, v int32, unit float64, digits int) {
		if v != rig.Missing {
			b = append(append(b, name...), '=')
			b = append(strconv.AppendFloat(b, float64(v)/unit, 'f', digits, 64), ',')
		}
	}
	field("command_deg", r.Command, 1000, 3)
	field("joint_deg", r.Angle, 1000, 3)
	field("motor_deg", r.Motor, 1000, 3)
	field("current_a", r.Current, 1000, 3)
	field("supply_v", r.Supply, 1000, 3)
	field("temp_c", r.Temp, 100, 2)
	b = append(strconv.AppendUint(append(b, "seq="...), uint64(p.seq[i]), 10), 'u')
	if r.Move != rig.MoveNone {
		b = append(append(append(b, `,move="`...), r.Move.String()...), '"')
		b = append(strconv.AppendUint(append(b, ",segment="...), uint64(r.Segment), 10), 'u')
	}
	b = strconv.AppendInt(append(b, ' '), r.TimeUS, 10)
	return append(b, '\n')
}
