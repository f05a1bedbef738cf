package book

import (
	"fmt"
	"strings"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig"
	"limbgauge/rig/record"
)

// plain is a knee whose play was measured and not judged.
func plain(v float64) health.Joint {
	return found("knee", health.BeltSlack, false, health.Of("play", health.Transmission, v, 0.02, ""))
}

// kneeInfo is a run of a knee.
func kneeInfo(id, dayN int, revision string) record.Info {
	i := runInfo(fmt.Sprintf("%04d", id), day(dayN), revision)
	i.Joints[0].Setup.Name = "knee"
	i.Joints[0].Setup.RangeDeg = [2]float64{-75, 75}
	return i
}

func keepInfo(t testing.TB, b *Book, i record.Info, joints ...health.Joint) {
	t.Helper()
	h := answer(i.Run, i.Revision, joints...)
	writeRun(t, b.dir, i, &h)
	must(t, b.AddRun(t.Context(), i, h))
}

func usualOf(t testing.TB, b *Book, i record.Info) string {
	t.Helper()
	list, err := b.Usual(t.Context(), RunOf(i), "knee")
	must(t, err)
	var ids []string
	for _, u := range list {
		if u.Joint.Joint != "knee" || len(u.Joint.Measures) == 0 {
			t.Errorf("run %s: %+v", u.Run, u.Joint)
		}
		ids = append(ids, strings.TrimLeft(u.Run, "0"))
	}
	return strings.Join(ids, " ")
}

// Which runs make the baseline: a story with one thing after the other, and what each run would be
// judged by, worked out by hand from the rule.
func TestUsual(t *testing.T) {
	b, _ := open(t, t.TempDir())
	must(t, b.AddRevision(t.Context(), Revision{Name: "A", Made: day(0)}))
	must(t, b.AddRevision(t.Context(), Revision{Name: "B", Parent: "A", Made: day(0)}))
	warn := plain(0.1)
	warn.Findings = []health.Finding{{Cause: health.NearStall, Severity: health.SeverityWarning, Evidence: []string{"x"}, CouldAlsoBe: []string{}}}
	hint := plain(0.1)
	hint.Findings[0].Severity, hint.Findings[0].Cause = health.SeverityHint, health.Hunting
	missed := found("knee", health.BeltSlack, false, health.Judge(health.Of("play", health.Transmission, 0.9, 0.05, ""), 0.5))
	hip := plain(0.1)
	hip.Joint = "hip"
	id := 0
	next := func(day int, revision string, change func(*record.Info), joints ...health.Joint) record.Info {
		id++
		i := kneeInfo(id, day, revision)
		if change != nil {
			change(&i)
		}
		keepInfo(t, b, i, joints...)
		return i
	}
	heavier := func(i *record.Info) { i.Joints[0].Setup.Load = &rig.Load{MassKg: 1, LeverM: 0.1} }
	var all []record.Info
	var want []string
	run := func(usual string, day int, revision string, change func(*record.Info), joints ...health.Joint) {
		all, want = append(all, next(day, revision, change, joints...)), append(want, usual)
	}
	run("", 1, "A", nil, plain(0.1))                                                                                                         // 1
	run("", 2, "A", func(i *record.Info) { i.Routine = "quick" }, plain(0.1))                                                                // 2: another routine
	run("1", 3, "A", func(i *record.Info) { i.End.How = record.Stopped }, plain(0.1))                                                        // 3: not whole
	run("1", 4, "A", nil, warn)                                                                                                              // 4: a warning
	run("1", 5, "A", nil, missed)                                                                                                            // 5: a limit missed
	run("", 6, "A", heavier, plain(0.1))                                                                                                     // 6: another load
	run("1", 7, "A", nil, hint)                                                                                                              // 7: a hint is good enough
	run("", 8, "A", func(i *record.Info) { i.Leg = "rear-left" }, plain(0.1))                                                                // 8: another leg
	run("1 7", 9, "A", func(i *record.Info) { i.Joints[0].Setup.Limits = rig.Limits{"play": 3}; i.Joints[0].Setup.Channel = 7 }, plain(0.1)) // 9
	run("1 7 9", 10, "A", nil, plain(0.1))
	run("1 7 9 10", 11, "A", nil, plain(0.1))
	run("1 7 9 10 11", 12, "A", nil, plain(0.1))
	run("1 7 9 10 11", 13, "A", nil, plain(0.1)) // 13: the first five stay
	if _, err := b.AddService(t.Context(), Service{When: day(14), What: "belt", Joint: "hip"}); err != nil {
		t.Fatal(err)
	}
	run("1 7 9 10 11", 14, "A", nil, plain(0.1)) // 14: the service was at another joint
	if _, err := b.AddService(t.Context(), Service{When: day(15), What: "belt", Joint: "knee"}); err != nil {
		t.Fatal(err)
	}
	run("", 15, "A", nil, plain(0.1)) // 15: of the service's time, so after it
	run("15", 16, "A", nil, plain(0.1))
	run("", 17, "B", nil, plain(0.1)) // 17: a redesign
	run("17", 18, "B", nil, plain(0.1))
	run("", 19, "A", nil, plain(0.1)) // 19: the old one put back is another assembly
	run("19", 20, "A", nil, plain(0.1))
	run("", 21, "A", func(i *record.Info) { i.Conditions.Assembly = "second" }, plain(0.1))
	run("21", 22, "A", func(i *record.Info) { i.Conditions.Assembly = "second" }, plain(0.1))
	run("", 23, "A", func(i *record.Info) { i.Conditions.Assembly = "second"; i.Conditions.BareServo = true }, plain(0.1))
	run("", 24, "A", func(i *record.Info) { i.Conditions.Assembly = "second" }, plain(0.1)) // 24: the belt was off
	run("24", 25, "A", func(i *record.Info) { i.Conditions.Assembly = "second" }, hip)      // 25: another joint's run
	run("24", 26, "A", func(i *record.Info) { i.Conditions.Assembly = "second" }, plain(0.1))
	check := func(when string) {
		t.Helper()
		for k, i := range all {
			if got := usualOf(t, b, i); got != want[k] {
				t.Errorf("%s: run %s is judged by %q, want %q", when, i.Run, got, want[k])
			}
		}
	}
	check("live") // each run asked after all have come: nothing later than it counts
	if w, err := b.Rebuild(t.Context()); err != nil || len(w) > 0 {
		t.Fatal(err, w)
	}
	check("made anew")
}

// judgedPlay is a play of the knee judged by its baseline of 0.4 deg, or not at all (limit NaN).
func judgedPlay(v, limit float64) health.Joint {
	m := health.Judge(health.Of("play", health.Transmission, v, 0.05, ""), limit)
	if m.Verdict != health.NoVerdict {
		m.LimitFrom = "baseline of runs 0001, 0002, 0003"
	}
	return found("knee", health.BeltSlack, m.Verdict == health.Fail, m)
}

// What showed against a baseline is cured against that same limit, also in the first runs after a
// service, which have no baseline yet; and what a useless service left is not cured by having become
// usual.
func TestCureAgainstTheBaselineThatWasMissed(t *testing.T) {
	b, _ := open(t, t.TempDir())
	n := 0
	keep := func(j health.Joint) {
		n++
		keepInfo(t, b, kneeInfo(n, n, ""), j)
	}
	service := func() {
		n++
		if _, err := b.AddService(t.Context(), Service{When: day(n), What: "belt tightened", Joint: "knee"}); err != nil {
			t.Fatal(err)
		}
	}
	keep(judgedPlay(0.9, 0.4))
	if p := state(t, b, knee); p.State != Open || p.Usual == nil || *p.Usual != 0.4 {
		t.Fatalf("%+v", p)
	}
	service()
	keep(judgedPlay(0.9, nan))
	if p := state(t, b, knee); p.State != Answered || !strings.Contains(p.Changes[len(p.Changes)-1].Why, "still fails") {
		t.Errorf("after a service that did nothing: %+v", p)
	}
	keep(judgedPlay(0.9, 1.2)) // usual by now
	if p := state(t, b, knee); p.State != Answered {
		t.Errorf("judged by the new baseline alone: %+v", p)
	}
	service()
	keep(judgedPlay(0.1, nan))
	if p := state(t, b, knee); p.State != Cured || !strings.Contains(p.Changes[len(p.Changes)-1].Why, "limit 0.4") {
		t.Errorf("%+v", p)
	}
	live := dump(t, b)
	if _, err := b.Rebuild(t.Context()); err != nil {
		t.Fatal(err)
	}
	if again := dump(t, b); again != live {
		t.Errorf("made anew:\n%s\nwas\n%s", again, live)
	}
}

// A run of the bare servo opens no problem of the joint, cures none, and is no point of its history.
func TestBareServoRunSaysNothingOfTheJoint(t *testing.T) {
	b, _ := open(t, t.TempDir())
	bare := func(id int, j health.Joint) {
		i := kneeInfo(id, id, "")
		i.Conditions.BareServo = true
		keepInfo(t, b, i, j)
	}
	bare(1, playJoint(0.9, true))
	if p := state(t, b, knee); p.ID != 0 {
		t.Errorf("opened by a bare servo: %+v", p)
	}
	keepRun(t, b, 2, day(2), "", playJoint(0.9, true))
	if _, err := b.AddService(t.Context(), Service{When: day(3), What: "belt", Joint: "knee"}); err != nil {
		t.Fatal(err)
	}
	bare(4, playJoint(0.1, false))
	if p := state(t, b, knee); p.State != Answered || len(p.Changes) != 2 {
		t.Errorf("after a bare servo: %+v", p)
	}
	for _, p := range pastOf(t, b, "knee", "play") {
		if p.Run.Bare != (p.Run.ID != "0002") {
			t.Errorf("%+v", p)
		}
	}
}
