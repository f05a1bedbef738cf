package book

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"limbgauge/analyze/health"
	"limbgauge/rig"
	"limbgauge/rig/record"
)

var day0 = time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)

// day returns a time so many days after the first.
func day(n int) time.Time { return day0.AddDate(0, 0, n) }

// playJoint makes a knee whose play is v ± 0.05 deg against a limit of 0.5 deg, with a finding of
// slack where slack is true.
func playJoint(v float64, slack bool) health.Joint {
	return found("knee", health.BeltSlack, slack, health.Judge(health.Of("play", health.Transmission, v, 0.05, "loop"), 0.5))
}

// found makes a joint with measures and, where is, a fault of that cause.
func found(joint string, c health.Cause, is bool, ms ...health.Measure) health.Joint {
	j := health.Joint{Joint: joint, Measures: ms, Findings: []health.Finding{{Cause: health.None, Severity: health.SeverityOK, Evidence: []string{}, CouldAlsoBe: []string{}}}}
	if is {
		j.Findings = []health.Finding{{Cause: c, Severity: health.SeverityFault, Confidence: 0.9, Part: "belt",
			Evidence: []string{"it shows"}, CouldAlsoBe: []string{}, Next: "look"}}
	}
	return j
}

func runInfo(id string, at time.Time, revision string) record.Info {
	return record.Info{Schema: record.Schema, Run: id, State: record.Sealed, Started: at, Leg: "fore-left", Revision: revision,
		Routine: "assembly", Joints: []record.JointInfo{{Setup: rig.DefaultJoint(0), Samples: 1000, Losses: rig.Losses{Lost: 3}}},
		End: record.End{How: record.Complete}}
}

func answer(id, revision string, joints ...health.Joint) health.Health {
	return health.Health{Schema: health.Schema, Run: id, Leg: "fore-left", Revision: revision, Joints: joints}
}

// writeRun makes a run folder as a recording and its analysis leave it.
func writeRun(t testing.TB, dir string, i record.Info, h *health.Health) {
	t.Helper()
	d := filepath.Join(dir, "runs", i.Run)
	if err := os.MkdirAll(d, 0o755); err != nil {
		t.Fatal(err)
	}
	writeJSON(t, filepath.Join(d, "run.json"), i)
	if h != nil {
		writeJSON(t, filepath.Join(d, HealthFile), h)
	}
}

func writeJSON(t testing.TB, path string, v any) {
	t.Helper()
	must(t, replaceJSON(path, v))
}

// replaceJSON writes a file as commands do: a new one in the place of the old.
func replaceJSON(path string, v any) error {
	data, err := json.Marshal(v)
	if err != nil {
		return err
	}
	if err := os.WriteFile(path+".tmp", data, 0o644); err != nil {
		return err
	}
	return os.Rename(path+".tmp", path)
}

// keepRun does what the command does after a run: the folder first, then the book.
func keepRun(t testing.TB, b *Book, id int, at time.Time, revision string, joints ...health.Joint) {
	t.Helper()
	i := runInfo(fmt.Sprintf("%04d", id), at, revision)
	h := answer(i.Run, revision, joints...)
	writeRun(t, b.dir, i, &h)
	must(t, b.AddRun(t.Context(), i, h))
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func open(t testing.TB, dir string) (*Book, Opened) {
	t.Helper()
	b, o, err := OpenBook(t.Context(), dir)
	must(t, err)
	t.Cleanup(func() { b.Close() })
	return b, o
}

// state returns where the problem stands, by what it was answered and closed.
func state(t testing.TB, b *Book, r Ref) Problem {
	t.Helper()
	ps, err := b.Problems(t.Context())
	must(t, err)
	for _, p := range ps {
		if p.Joint == r.Joint && p.Cause == r.Cause {
			return p
		}
	}
	return Problem{}
}

// dump writes down everything the book answers, to compare two books.
func dump(t testing.TB, b *Book) string {
	t.Helper()
	ctx := t.Context()
	runs, err := b.Runs(ctx)
	must(t, err)
	out := map[string]any{"runs": runs}
	for _, r := range runs {
		_, joints, _, err := b.Run(ctx, r.ID)
		must(t, err)
		out["run "+r.ID] = joints
		for _, j := range joints {
			usual, err := b.Usual(ctx, r, j.Joint)
			must(t, err)
			out["usual of run "+r.ID+" "+j.Joint] = usual
		}
	}
	if out["problems"], err = b.Problems(ctx); err != nil {
		t.Fatal(err)
	}
	joints, err := b.Joints(ctx, "")
	must(t, err)
	out["joints"] = joints
	for _, j := range joints {
		past, err := b.History(ctx, j)
		must(t, err)
		for _, p := range past {
			c := p.Conditions
			c.Setup = rig.Joint{} // pointers inside; its digest is in the run
			words := fmt.Sprintf("%+v %v %+v", c, p.Causes, p.Travel.Joint)
			if p.Travel.Run != nil {
				words += fmt.Sprintf(" run %+v", *p.Travel.Run)
			}
			if p.Travel.Belt != nil {
				words += fmt.Sprintf(" belt %+v", *p.Travel.Belt)
			}
			out["past of "+j+" "+p.Run.ID] = []any{words, p.Measures}
		}
	}
	if out["revisions"], err = b.Revisions(ctx); err != nil {
		t.Fatal(err)
	}
	if out["services"], err = b.Services(ctx); err != nil {
		t.Fatal(err)
	}
	if out["notes"], err = notes(ctx, b.db); err != nil {
		t.Fatal(err)
	}
	data, err := json.MarshalIndent(out, "", " ")
	must(t, err)
	return string(data)
}

var knee = Ref{"knee", health.BeltSlack}
var nan = math.NaN()
