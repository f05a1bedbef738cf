package book

import (
	"slices"
	"time"
)

// Travel is how far a joint had gone with the end of a run. What a run of the bare servo moved counts
// for neither: the belt was off and the joint stood still.
type Travel struct {
	// Run is what the run itself added; nil where it was not counted.
	Run *Count
	// Joint counts since the first run of the joint of this leg, through all revisions.
	Joint Total
	// Belt counts since the newest service before the run that put in a new belt, since the first run
	// where there was none; nil for a joint without a belt.
	Belt *Total
}

// Count is what one run moved a joint: deg, and turns of direction.
type Count struct {
	Deg       float64 `json:"deg"`
	Reversals int     `json:"reversals"`
}

// Total is a sum over runs.
type Total struct {
	Count
	// Uncounted is how many of the runs had no count, as those sealed before limbgauge counted. Where
	// it is not 0 the true total is at least this one.
	Uncounted int `json:"uncounted_runs"`
}

// AtLeast says that the true total may be greater.
func (t Total) AtLeast() bool { return t.Uncounted > 0 }

func (t *Total) add(c *Count) {
	if c == nil {
		t.Uncounted++
		return
	}
	t.Deg += c.Deg
	t.Reversals += c.Reversals
}

// beltPart is what a service calls a belt.
const beltPart = "belt"

// odometer sums the travel of one joint over its runs.
type odometer struct {
	newBelts []time.Time // oldest first
	joint    map[string]*Total
	belt     map[string]*Total
}

func newOdometer(joint string, services []Service) *odometer {
	o := &odometer{joint: map[string]*Total{}, belt: map[string]*Total{}}
	for _, s := range services {
		if s.Replaced && s.Part == beltPart && (s.Joint == "" || s.Joint == joint) {
			o.newBelts = append(o.newBelts, s.When)
		}
	}
	slices.SortFunc(o.newBelts, time.Time.Compare)
	return o
}

// add takes the next run in and fills in its totals. A run of the very time of a service comes after
// it, as in the life of problems.
func (o *odometer) add(p *JointPast) {
	for len(o.newBelts) > 0 && !o.newBelts[0].After(p.Run.Started) {
		o.newBelts = o.newBelts[1:]
		clear(o.belt)
	}
	leg := p.Run.Leg
	if o.joint[leg] == nil {
		o.joint[leg] = &Total{}
	}
	if o.belt[leg] == nil {
		o.belt[leg] = &Total{}
	}
	hasBelt := p.Conditions.Setup.Belt != nil
	if !p.Run.Bare {
		o.joint[leg].add(p.Travel.Run)
		if hasBelt {
			o.belt[leg].add(p.Travel.Run)
		}
	}
	p.Travel.Joint = *o.joint[leg]
	if hasBelt {
		total := *o.belt[leg]
		p.Travel.Belt = &total
	}
}
