package compare

import (
	"slices"
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
	res := Sides(a, b, Options{All: true})
	if res.Sentence != "The two sides are not comparable because no routine was run on both." || len(res.Rows) != 0 || len(res.Notes) != 2 {
		t.Errorf("%+v", res)
	}
	if res := Sides(nil, b, Options{All: true}); !strings.Contains(res.Sentence, "one side has no runs") || len(res.Rows) != 0 {
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
	res := Sides(a, b, Options{All: true})
	row := find(t, res, "play")
	if row.Verdict != Same || row.Routine != "assembly" || row.NA != 3 || row.NB != 2 {
		t.Errorf("%+v", row)
	}
	notes := strings.Join(res.Notes, "\n")
	for _, want := range []string{`of the second side left out: run 0000; routine "hold" was not run on the other side`, "both sides ran assembly, quick"} {
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
	res := Sides(side(), side(), Options{All: true, Margins: map[string]float64{"creep": 0.1}})
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
		return equal(2, ms...)
	}
	const mayBeAll = "the second side: the load torque is 0.400, not 0.250 N·m, which may be all of it"
	for _, c := range []struct {
		name       string
		a, b       []Run
		use, swing Verdict // torque use; overshoot, which hangs on the load
		useWhy     string
		swingWhy   string
		says       string
	}{
		{"alike", run(0.25, 0), run(0.26, 0), Same, Same, "", "", "the same within the margin in play (transmission), torque use"},
		{"unlike", run(0.25, 0), run(0.40, 0), Worse, Cannot, mayBeAll,
			notComparable + "in the second side the load torque is 0.400, not 0.250 N·m", "worse in torque use; the same within the margin in play (transmission); not comparable: overshoot"},
		{"unlike within a side", run(0.25, 0), append(run(0.25, 0), renamed(run(0.40, 0))...), Cannot, Same, "2 of 4 runs of " + mayBeAll,
			"2 of 4 runs of the second side: not comparable because the load torque is 0.400", "cannot tell: torque use"},
		{"known on one side", run(0, 0), run(0.40, 0), Worse, Worse, "the load is known of one only and taken as alike", "taken as alike", "worse in torque use"},
		{"known nowhere", run(0, 0), run(0, 0), Same, Same, "", "", "is the same within the margin in"},
		{"a stall hides the load", run(0.25, 2), run(0.40, 0), Worse, Worse, "the load is known of one only", "taken as alike", "worse in torque use"},
	} {
		t.Run(c.name, func(t *testing.T) {
			res := Sides(c.a, c.b, Options{All: true})
			u, o, p := find(t, res, "torque_use"), find(t, res, "overshoot"), find(t, res, "play")
			if u.Verdict != c.use || o.Verdict != c.swing || p.Verdict != Same {
				t.Errorf("torque use %s (%s), overshoot %s (%s), play %s; want %s, %s and the same", u.Verdict, u.Why, o.Verdict, o.Why, p.Verdict, c.use, c.swing)
			}
			if !strings.Contains(u.Why, c.useWhy) || !strings.Contains(o.Why, c.swingWhy) || strings.Contains(p.Why, "load") {
				t.Errorf("torque use: %s; overshoot: %s; play: %s", u.Why, o.Why, p.Why)
			}
			if !strings.Contains(res.Sentence, c.says) {
				t.Errorf("sentence: %s", res.Sentence)
			}
		})
	}
	// Nothing is left that could be compared.
	only := func(nm float64) []Run {
		return equal(2, load(nm), health.Judge(of("overshoot", nm, 0.01), 0.5))
	}
	if s := Sides(only(0.2), only(0.4), Options{All: true}).Sentence; !strings.HasPrefix(s, "The two sides are not comparable because in the second side the load torque is 0.400") {
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
		{Sides(runs(0.6, 0.03, 8), runs(0.2, 0.03, 12), Options{All: true}).Sentence,
			"The second side is better in play (transmission); the same within the margin in friction; cannot tell: creep in the hold (total)."},
		{Sides(runs(0.6, 0.03, 8), runs(0.2, 0.05, 12), Options{All: true}).Sentence,
			"The second side is better in play (transmission); worse in friction; cannot tell: creep in the hold (total)."},
		{Sides(runs(0.2, 0.03, 8), runs(0.2, 0.05, 8), Options{All: true}).Sentence,
			"The second side is worse in friction; the same within the margin in play (transmission); cannot tell: creep in the hold (total)."},
		{Sides(runs(0.2, 0.03, 8), runs(0.2, 0.03, 8), Options{All: true}).Sentence,
			"The second side is the same within the margin in play (transmission), friction; cannot tell: creep in the hold (total)."},
		{Sides([]Run{one("1", "", of("play", 1, 0.1))}, []Run{one("2", "", of("play", 2, 0.1))}, Options{All: true}).Sentence,
			"No measure has a limit, so none counts for a verdict on the whole; keys such as play_deg in [joint.limits] set them."},
		{Sides([]Run{one("1", "", usual(of("play", 1, 0.1)))}, []Run{one("2", "", usual(of("play", 2, 0.1)))}, Options{All: true}).Sentence,
			"No measure has a limit, so none counts for a verdict on the whole; keys such as play_deg in [joint.limits] set them."},
	} {
		if c.got != c.want {
			t.Errorf("%s\nwant %s", c.got, c.want)
		}
	}
}

// A headline names what differs, few of them, and counts the rest.
func TestHeadline(t *testing.T) {
	rows := func(v Verdict, names ...string) (out []Row) {
		for _, n := range names {
			out = append(out, Row{A: of(n, 1, 0.1), Asked: true, Verdict: v, NA: 3, NB: 3})
		}
		return out
	}
	refused := rows(Cannot, "friction")
	refused[0].Why = notComparable + "the load is another"
	alone := rows(Cannot, "play")
	alone[0].NA = 1
	for _, c := range []struct {
		rows []Row
		want string
		few  bool
	}{
		{slices.Concat(rows(Worse, "torque_use"), rows(Same, "play", "creep"), rows(Cannot, "belt_tension", "supply_sag"), refused), "b: worse in torque use; 2 the same; 2 cannot tell; 1 not comparable", false},
		{slices.Concat(rows(Better, "play"), rows(Worse, "friction", "creep", "overshoot", "torque_use")), "b: better in play; worse in 4 measures", false},
		{alone, "b: 1 cannot tell", true},
	} {
		res := Result{Rows: c.rows}
		if res.say(Options{A: "a", B: "b"}); res.Headline != c.want || (res.Few != "") != c.few {
			t.Errorf("%q, few %q; want %q", res.Headline, res.Few, c.want)
		}
	}
}

func TestNotes(t *testing.T) {
	const narrow = "runs without an assembly tag count as one assembly each"
	if n := strings.Join(Sides(plays(0.1, 1, 2), plays(0.1, 1), Options{All: true}).Notes, "\n"); !strings.Contains(n, narrow) {
		t.Errorf("notes: %s", n)
	}
	tagged := func(tags ...string) (out []Run) {
		for i, tag := range tags {
			out = append(out, one(string(rune('1'+i)), tag, play(1, 0.1)))
		}
		return out
	}
	if n := Sides(tagged("p", "q"), tagged("r", "s"), Options{All: true}).Notes; len(n) != 0 {
		t.Errorf("notes: %q", n)
	}
	if n := Sides(tagged("p", "q"), tagged("q", "p"), Options{All: true}).Notes; len(n) != 1 || !strings.Contains(n[0], "on both sides: assembly p, q") {
		t.Errorf("notes: %q", n)
	}
	var ms []health.Measure
	for _, d := range health.Definitions()[:10] {
		ms = append(ms, of(d.Name, 1, 0.1))
	}
	many := equal(2, append(ms[1:], health.Judge(ms[0], 1), health.Judge(of("play", 1, 0.1), 1))...)
	n := strings.Join(Sides(many, many, Options{All: true}).Notes, "\n")
	for _, want := range []string{"adjusted (Holm) over the 2 measures that have a limit", "adjusted over all 10"} {
		if !strings.Contains(n, want) {
			t.Errorf("notes say nothing of %q: %s", want, n)
		}
	}
}
