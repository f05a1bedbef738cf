package report

import (
	"time"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// Document is everything a report shows. Only Health is needed; whatever else is missing is left
// out or named as not known.
type Document struct {
	Health     health.Health // with Curves and Notes of each joint
	Run        Run
	Revision   *Revision   // nil: not known
	Problems   []Problem   // of this leg
	Comparison *Comparison // nil: nothing was compared
	History    []History   // shown under the joint of the same name
	// ArmM is how far the foot is from a joint's axis, m; a joint for which that is not known is left out.
	ArmM map[string]float64
}

// Run says how the samples came about.
type Run struct {
	ID, Leg, Revision string // where empty, those of Document.Health are shown
	Routine           string
	Started           time.Time // zero: not known
	DurationS         float64   // 0: not known
	// Ended says in words how the run ended: "complete", "stopped by hand", "tripped: ...".
	Ended string
	// CutShort is true when the routine did not reach its end.
	CutShort bool
	// ByHand is true when a person stopped it.
	ByHand          bool
	Stand, Firmware string
	SampleHz        float64 // 0: not known
	Joints          []JointFacts
	Conditions      []Fact // supply, temperature, mounting, load, ...
	Calibration     []Fact
	Note            string // free text of the builder
}

// JointFacts counts what arrived for one joint.
type JointFacts struct {
	Joint   string
	Samples int
	Losses  rig.Losses
}

// Fact is one named statement, the unit within the value.
type Fact struct{ Name, Value string }

// Revision is the state of the leg's design the run was made with.
type Revision struct {
	Name, Parent, Why string
	Made              time.Time // zero: not known
	Parts             []Part
	// Changed says which of the parts' files are no longer what they were, in words.
	Changed []string
}

// Part is one part of a revision and the file it was made from.
type Part struct {
	Name, File, Hash string
	Size             int64 // bytes of the file; 0: not known
}

// Problem is a finding followed over time.
type Problem struct {
	Joint      string
	Cause      health.Cause
	State      string // one of the State constants; another word is shown as it is
	OpenedBy   string // run
	AnsweredBy string // revision or service
	ClosedBy   string // run that saw it cured or back again
	Evidence   []string
}

// The states of a problem.
const (
	StateOpen     = "open"
	StateAnswered = "answered"
	StateCured    = "cured"
	StateReturned = "returned"
)

// Comparison sets two revisions side by side.
type Comparison struct {
	A, B         string // names of the revisions
	RunsA, RunsB int    // runs behind each; 0: not known
	Rows         []Difference
	Says         []string // what it comes to, a sentence for each joint
	Reasons      []string // behind the verdicts on what differs
	Notes        []string // the rest
}

// Difference is one measure of two revisions. Diff is B less A and U its expanded uncertainty,
// both in the measure's unit and NaN where there is none.
type Difference struct {
	Joint   string
	A, B    health.Measure
	Diff, U float64
	Verdict string // in words
	// Mark is Pass where B is better, Fail where it is worse, Unproven where the data cannot tell
	// and NoVerdict where no difference was found.
	Mark health.Verdict
}

// History is one measure over the runs of a leg, oldest first.
type History struct {
	Joint   string
	Measure string
	Path    health.Path
	Limit   float64 // NaN: none
	Points  []Point
	Marks   []Mark
	// Warned are the runs at which a change for the worse was first sure.
	Warned []string
	Ahead  *Ahead // nil: nothing can be said
}

// Ahead is when a measure reaches its limit if it goes on as it went: Runs after the last one, with the
// ends of its 95 % interval. Hi is infinite where there is no upper end.
type Ahead struct{ Runs, Lo, Hi float64 }

// Point is the measure as one run saw it.
type Point struct {
	Run     string
	Measure health.Measure
	Out     bool // it does not count with the others: drawn hollow, not joined
}

// Mark is a boundary in a History: a new revision, or a service.
type Mark struct {
	Before  int // the boundary lies before Points[Before]; len(Points) is after the last
	Label   string
	Service bool // false: a revision
}

// runID, leg and revision prefer the run's own word over the analysis'.
func (d *Document) runID() string    { return first(d.Run.ID, d.Health.Run) }
func (d *Document) leg() string      { return first(d.Run.Leg, d.Health.Leg) }
func (d *Document) revision() string { return first(d.Run.Revision, d.Health.Revision) }

func first(words ...string) string {
	for _, w := range words {
		if w != "" {
			return w
		}
	}
	return ""
}
