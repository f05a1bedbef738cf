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
	// Plan says what a sweep is going to move, in a sentence, or what is wrong with it.
	Plan(context.Context, Sweep) (string, error)
	// Sweep runs joints through a routine, records, judges and keeps. Consent was given on the page. It
	// returns the run's number where there is one, also with an error.
	Sweep(context.Context, Sweep, session.Consent, *session.Live) (run string, h health.Health, err error)
	// Report gathers what there is to say of a run.
	Report(ctx context.Context, run string) (*report.Document, error)
	// Trend sets the runs of each joint beside each other.
	Trend(ctx context.Context, joints []string) (map[string]Course, error)
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
	Verdict string
}

// Sweep is what a page asks to be run.
type Sweep struct {
	Joints   []string `json:"joints"`
	Routine  string   `json:"routine"`
	Revision string   `json:"revision"`
	Assembly string   `json:"assembly"`
	Note     string   `json:"note"`
}
