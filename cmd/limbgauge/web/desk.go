package web

import (
	"context"

	"limbgauge/analyze/book"
	"limbgauge/analyze/compare"
	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
	"limbgauge/analyze/trend"
	"limbgauge/rig"
	"limbgauge/rig/session"
)

// Desk is what the pages ask of the program behind them. All of it may be called by several pages
// at once.
type Desk interface {
	// Bench reads bench.toml as it is now.
	Bench() (*rig.Bench, error)
	// Book opens the catalogue; who asked closes it.
	Book(context.Context) (*book.Book, error)
	// Plan makes ready what a page asks for, or says what is wrong with it.
	Plan(context.Context, Sweep) (Plan, error)
	// Report gathers what there is to say of a run.
	Report(ctx context.Context, run string) (*report.Document, error)
	// Trend sets the runs of each joint beside each other, also those measures that nothing limits when all
	// are asked for or nothing limits any.
	Trend(ctx context.Context, joints []string, all bool) (map[string]Course, error)
	// Compare sets two revisions side by side for every joint that was run with both.
	Compare(ctx context.Context, a, b string) (map[string]compare.Result, error)
	// Folder returns the bench folder.
	Folder() string
	// RunDir returns the folder of a run.
	RunDir(run string) (string, error)
	// Hint says what to do about an error, "" where there is nothing to say.
	Hint(error) string
}

// Course is what the runs of a joint say over time, and that in one sentence.
type Course struct {
	Trends  []trend.Trend
	All     bool // also of what nothing limits
	Verdict string
}

// Sweep is what a page asks to be run.
type Sweep struct {
	Joints      []string `json:"joints"`
	Routine     string   `json:"routine"` // of the check sweeps, where Endure is given
	Revision    string   `json:"revision"`
	Assembly    string   `json:"assembly"`
	NewAssembly bool     `json:"new_assembly"`
	Bare        bool     `json:"bare_servo"`
	Note        string   `json:"note"`
	SupplyV     float64  `json:"supply_v"`  // 0: not said
	AmbientC    float64  `json:"ambient_c"` // 0: not said
	Endure      *Endure  `json:"endure"`
}

// Endure asks for an endurance test of the one joint.
type Endure struct {
	Cycles     int `json:"cycles"`
	CheckEvery int `json:"check_every"`
}

// Plan is what was made ready. What a page showed of it is what runs.
type Plan struct {
	What  string // in a sentence
	Notes []string
	Turns []Turn // one joint after the other
	Many  bool   // it is of many runs, as an endurance test
	asked Sweep  // what it was made from
	// Run carries it out, records, judges and keeps. The outcome names the run where there is one, also
	// with an error.
	Run func(context.Context, Watch) (Outcome, error)
}

// Turn is one joint's part of a plan.
type Turn struct {
	Joint   string  `json:"joint"`
	Bare    bool    `json:"bare_servo,omitempty"`
	LoDeg   float64 `json:"lo_deg"`
	HiDeg   float64 `json:"hi_deg"`
	DegPerS float64 `json:"deg_per_s"`       // the greatest that is asked for
	Jumps   bool    `json:"jumps,omitempty"` // some moves go as fast as the servo does
	TakesS  float64 `json:"takes_s"`
}

// Watch is what whoever carries a plan out is given.
type Watch struct {
	Consent session.Consent // it was given on the page
	Live    *session.Live
	Say     func(string) // for whoever looks on
	AtRest  func()       // to be called when nothing moves any more
	// Between is to be called by a plan of many runs: true when one has ended, false before one begins.
	Between func(bool)
}

// Outcome is what came of a plan.
type Outcome struct {
	Run    string
	Health health.Health
	Said   string // what else there is to say
	Next   string // and to do
}
