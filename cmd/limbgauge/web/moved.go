package web

import (
	"fmt"
	"math"
	"time"

	"limbgauge/rig/session"
)

// tick is how often pages are told what moves.
const tick = 50 * time.Millisecond

// beatEvery is how often pages hear something while the stand counts as moving and nothing does: clocks of pages
// that nobody looks at run slowly, so a page says that it is there whenever it hears something.
const beatEvery = silence / 5

// status is what the pages are told of the state.
type status struct {
	State   state        `json:"state"`
	Owner   string       `json:"owner,omitempty"`
	Text    string       `json:"text"` // what it is about, or how the last one ended
	Hint    string       `json:"hint,omitempty"`
	Turns   []Turn       `json:"turns,omitempty"`
	Many    bool         `json:"many,omitempty"`    // it is of many runs
	Run     string       `json:"run,omitempty"`     // of the last one
	Verdict *verdictNews `json:"verdict,omitempty"` // on it
	Further *further     `json:"further,omitempty"` // where what it left unproven would be
	Bad     bool         `json:"bad,omitempty"`     // it did not come to its end
}

// further is a way to a page with its words.
type further struct {
	Path string `json:"path"`
	Text string `json:"text"`
}

type verdictNews struct {
	Shape string `json:"shape"`
	Word  string `json:"word"`
	Text  string `json:"text"`
}

// moved is what the pages are told while a joint moves. Columns are as long as each other; a null was
// not measured.
type moved struct {
	Joint   string   `json:"joint"`
	Move    string   `json:"move"`
	Segment int      `json:"segment"`
	Moves   int      `json:"moves"`
	LeftS   float64  `json:"left_s"`
	Share   float64  `json:"share"`
	Samples int      `json:"samples"`
	Lost    int      `json:"lost"`
	Damaged int      `json:"damaged"`
	T       []number `json:"t"`
	Command []number `json:"command"`
	Angle   []number `json:"angle"`
	Motor   []number `json:"motor"`
	Current []number `json:"current"`
	Peak    []number `json:"peak"` // of the current, since the value before
	Supply  []number `json:"supply"`
}

// number is a figure whose NaN is null in JSON.
type number float64

// MarshalJSON writes null for what was not measured.
func (n number) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(n)) {
		return []byte("null"), nil
	}
	return fmt.Appendf(nil, "%.6g", float64(n)), nil
}

// watch takes what a session shows to the pages, a little at a time, until it is over.
func (m *motion) watch(live *session.Live, over <-chan struct{}) {
	beat := time.NewTicker(tick)
	defer beat.Stop()
	var now moved
	quiet := 0 // ticks since there was news
	tell := func() {
		if quiet++; len(now.T) > 0 {
			m.hub.tell("moved", now, false)
			now, quiet = moved{}, 0
		}
		if quiet >= int(beatEvery/tick) {
			m.hub.tell("beat", nil, false)
			quiet = 0
		}
	}
	for {
		select {
		case s := <-live.C():
			switch {
			case s.Said != "":
				m.hub.tell("said", s.Said, false)
			case len(now.T) > 0 && now.Joint != s.Joint: // news are of one joint
				tell()
				fallthrough
			default:
				now.take(s)
			}
		case <-beat.C:
			tell()
			m.overdue()
		case <-over:
			return
		}
	}
}

// take adds a reading to the news.
func (n *moved) take(s session.Snapshot) {
	n.Joint, n.Move, n.Segment, n.Moves = s.Joint, s.Move.String(), s.Segment, s.Moves
	n.LeftS, n.Share, n.Samples, n.Lost, n.Damaged = s.Left.Seconds(), s.Share, s.Samples, s.Losses.Lost, s.Losses.Damaged
	n.T = append(n.T, number(s.Done.Seconds()))
	n.Command = append(n.Command, number(s.CommandDeg))
	n.Angle = append(n.Angle, number(s.AngleDeg))
	n.Motor = append(n.Motor, number(s.MotorDeg))
	n.Current = append(n.Current, number(s.CurrentA))
	n.Peak = append(n.Peak, number(s.PeakA))
	n.Supply = append(n.Supply, number(s.SupplyV))
}
