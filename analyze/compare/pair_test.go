package compare

import (
	"strings"
	"testing"

	"limbgauge/analyze/health"
)

func with(routine string, runs ...Run) []Run {
	for i := range runs {
		runs[i].Routine = routine
	}
	return runs
}

// renamed gives runs names of their own, since runs of one name are one unit.
func renamed(runs []Run) []Run {
	for i := range runs {
		runs[i].ID += " again"
	}
	return runs
}

func TestOneRoutineOnly(t *testing.T) {
	a, b := with("quick", plays(0.01, 0.5)...), with("assembly", plays(0.01, 0.2)...)
	res := Sides(a, b)
	if res.Sentence != "The two sides are not comparable because no routine was run on both." || len(res.Rows) != 0 || len(res.Notes) != 2 {
		t.Errorf("%+v", res)
	}
	if res := Sides(nil, b); !strings.Contains(res.Sentence, "one side has no runs") || len(res.Rows) != 0 {
		t.Errorf("%+v", res)
	}
}

// Figures of two routines are not thrown together: by routine the two sides are alike, and only
// their mixture differs.
func TestRoutinesAreNotMixed(t *testing.T) {
	low, high := plays(0.05, 0.20, 0.22, 0.21), plays(0.05, 0.80, 0.82, 0.81)
	a := append(with("assembly", append([]Run{}, low...)...), with("quick", append([]Run{}, high[:1]...)...)...)
	b := append(with("assembly", append([]Run{}, low[:2]...)...), with("quick", append([]Run{}, high...)...)...)
	b = append(b, with("hold", plays(0.05, 9)...)...)
	res := Sides(a, b)
	row := find(t, res, "play")
	if row.Verdict != Same || row.Routine != "assembly" || row.NA != 3 || row.NB != 2 {
		t.Errorf("%+v", row)
	}
	notes := strings.Join(res.Notes, "\n")
	for _, want := range []string{`run 0000 is left out: routine "hold"`, "both sides ran assembly, quick"} {
		if !strings.Contains(notes, want) {
			t.Errorf("notes say nothing of %q:\n%s", want, notes)
		}
	}
}

// A measure is taken from the routine that knows most of it, whatever is first by name.
func TestRoutinePerMeasure(t *testing.T) {
	creep := health.Of("creep", health.Total, 0.3, 0.05, "")
	none := health.Unseen("creep", health.Total, "", "the run has no hold of 4 s or more")
	side := func() []Run {
		return append(with("hold", one("8", "", creep, play(0.2, 0.05)), one("9", "", creep, play(0.2, 0.05))),
			with("assembly", one("1", "", none, play(0.2, 0.05)), one("2", "", none, play(0.2, 0.05)), one("3", "", none, play(0.2, 0.05)))...)
	}
	res := Sides(side(), side())
	if p, c := find(t, res, "play"), find(t, res, "creep"); p.Routine != "assembly" || p.NA != 3 || c.Routine != "hold" || c.NB != 2 || c.Verdict != Same {
		t.Errorf("play from %s (%d), creep from %s (%d): %s", p.Routine, p.NA, c.Routine, c.NB, c.Verdict)
	}
}

func TestLoads(t *testing.T) {
	run := func(nm, stall float64) []Run {
		ms := []health.Measure{play(0.3, 0.02), health.Judge(of("torque_use", 2*nm, 0.01), 0.5),
			health.Judge(of("overshoot", 4*nm, 0.01), 2), of("stall_time", stall, 0)}
		if nm > 0 {
			ms = append(ms, load(nm))
		}
		return []Run{one("1", "", ms...)}
	}
	for _, c := range []struct {
		name       string
		a, b       []Run
		use, swing Verdict // torque use; overshoot, which hangs on the load
		note, says string
	}{
		{"alike", run(0.25, 0), run(0.26, 0), Worse, Worse, "", "worse: share of the torque available"},
		{"unlike", run(0.25, 0), run(0.30, 0), Worse, Cannot, "the load torque differs (0.250 to 0.250", "1 not comparable because the load torque differs"},
		{"unlike within a side", run(0.25, 0), append(run(0.25, 0), renamed(run(0.30, 0))...), Same, Cannot, "the load torque differs", "not comparable"},
		{"known on one side", run(0, 0), run(0.30, 0), Worse, Worse, "known on one side only", "worse"},
		{"known nowhere", run(0, 0), run(0, 0), Same, Same, "", "none is seen to differ"},
		{"a stall hides the load", run(0.25, 2), run(0.30, 0), Worse, Worse, "since a run stalled", "worse"},
	} {
		t.Run(c.name, func(t *testing.T) {
			res := Sides(c.a, c.b)
			u, o, p := find(t, res, "torque_use"), find(t, res, "overshoot"), find(t, res, "play")
			if u.Verdict != c.use || o.Verdict != c.swing || p.Verdict != Same {
				t.Errorf("torque use %s (%s), overshoot %s, play %s; want %s, %s and none", u.Verdict, u.Why, o.Verdict, p.Verdict, c.use, c.swing)
			}
			if c.name == "unlike" && (!strings.Contains(u.Why, "which may be all of it") || !strings.HasPrefix(o.Why, notComparable)) {
				t.Errorf("torque use: %s; overshoot: %s", u.Why, o.Why)
			}
			if notes := strings.Join(res.Notes, "\n"); !strings.Contains(notes, c.note) || c.note == "" && strings.Contains(notes, "load") {
				t.Errorf("notes: %s", notes)
			}
			if !strings.Contains(res.Sentence, c.says) {
				t.Errorf("sentence: %s", res.Sentence)
			}
		})
	}
	// Nothing is left that could be compared.
	only := func(nm float64) []Run {
		return []Run{one("1", "", load(nm), health.Judge(of("overshoot", nm, 0.01), 0.5))}
	}
	if s := Sides(only(0.2), only(0.4)).Sentence; !strings.HasPrefix(s, "The two sides are not comparable because the load torque differs") {
		t.Errorf("sentence: %s", s)
	}
}

// usual judges a measure by what a joint was at first, which says nothing of what is accepted.
func usual(m health.Measure) health.Measure {
	m = health.Judge(m, 0.5)
	m.LimitFrom = "baseline of runs 0001, 0002, 0003"
	return m
}

func TestSentence(t *testing.T) {
	judged := func(m health.Measure, limit float64) health.Measure { return health.Judge(m, limit) }
	runs := func(p, f, n float64) (out []Run) {
		for _, id := range []string{"1", "2"} {
			out = append(out, one(id, "assembly "+id, play(p, 0.02), judged(of("friction", f, 0.004), 0.06),
				of("natural_frequency", n, 0.1), judged(health.Unseen("creep", health.Total, "", "no hold"), 0.5)))
		}
		return out
	}
	for _, c := range []struct{ got, want string }{
		{Sides(runs(0.6, 0.03, 8), runs(0.2, 0.03, 12)).Sentence,
			"Of the measures with a limit, better: play (transmission); none is seen to be worse; 1 cannot be told."},
		{Sides(runs(0.6, 0.03, 8), runs(0.2, 0.05, 12)).Sentence,
			"Of the measures with a limit, better: play (transmission); worse: friction; 1 cannot be told."},
		{Sides(runs(0.2, 0.03, 8), runs(0.2, 0.05, 8)).Sentence,
			"Of the measures with a limit, worse: friction; none is seen to be better; 1 cannot be told."},
		{Sides(runs(0.2, 0.03, 8), runs(0.2, 0.03, 8)).Sentence,
			"Of the measures with a limit, none is seen to differ; 1 cannot be told."},
		{Sides([]Run{one("1", "", of("play", 1, 0.1))}, []Run{one("2", "", of("play", 2, 0.1))}).Sentence,
			"No measure has a limit in [joint.limits], so none counts for a verdict on the whole."},
		{Sides([]Run{one("1", "", usual(of("play", 1, 0.1)))}, []Run{one("2", "", usual(of("play", 2, 0.1)))}).Sentence,
			"No measure has a limit in [joint.limits], so none counts for a verdict on the whole."},
	} {
		if c.got != c.want {
			t.Errorf("%s\nwant %s", c.got, c.want)
		}
	}
}

func TestNotes(t *testing.T) {
	const narrow = "runs without an assembly tag count as one assembly each"
	if n := strings.Join(Sides(plays(0.1, 1, 2), plays(0.1, 1)).Notes, "\n"); !strings.Contains(n, narrow) {
		t.Errorf("notes: %s", n)
	}
	tagged := []Run{one("1", "p", play(1, 0.1)), one("2", "q", play(1, 0.1))}
	if n := Sides(tagged, tagged).Notes; len(n) != 0 {
		t.Errorf("notes: %q", n)
	}
	var ms []health.Measure
	for _, d := range health.Definitions()[:chanceFrom] {
		ms = append(ms, of(d.Name, 1, 0.1))
	}
	many := []Run{one("1", "p", ms...)}
	if n := strings.Join(Sides(many, many).Notes, "\n"); !strings.Contains(n, "of 10, about 1 may leave out zero by chance") {
		t.Errorf("notes: %s", n)
	}
}
