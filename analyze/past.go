package analyze

import (
	"limbgauge/analyze/health"
)

// Past is what earlier runs say of a joint. The zero value is a joint without a past.
type Past struct {
	// Routine is that of the run to judge, empty where it is not known.
	Routine string
	// Usual are the first good runs of the same routine with the joint as it is now built, oldest
	// first; the run to judge is none of them. They stand in for limits the builder has not stated.
	Usual []PastRun
	// Bare is the run of the bare servo that is to be taken off; nil for none.
	Bare *Bare
}

// PastRun is what an earlier run answered of the joint.
type PastRun struct {
	Run      string
	Measures []health.Measure
}
