package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"limbgauge/analyze/health"
	"limbgauge/rig"
	"limbgauge/rig/record"
	"limbgauge/rig/virtual"
)

// pastBench is a bench of which runs are made without a stand in real time.
type pastBench struct {
	t    *testing.T
	dir  string
	knee rig.Joint
	day  int
	runs int
}

func newPastBench(t *testing.T) *pastBench {
	t.Helper()
	p := &pastBench{t: t, dir: t.TempDir()}
	b, err := rig.ParseBench("example", []byte(rig.ExampleBench()))
	if err != nil {
		t.Fatal(err)
	}
	p.knee, _ = b.JointByName("knee")
	p.knee.Sensors.MotorCounts = 0
	p.knee.Limits = rig.Limits{"reversal_error": 1.2}
	if err := os.WriteFile(filepath.Join(p.dir, benchFile), []byte(rig.ExampleBench()), 0o644); err != nil {
		t.Fatal(err)
	}
	return p
}

// made records a run of the knee with a fault, a day after the last.
func (p *pastBench) made(fault string, size float64, bare bool) {
	p.t.Helper()
	truth, j := virtual.Healthy(p.knee, 7), p.knee
	truth.Seed = uint64(p.runs + 1)
	if fault != "" {
		var err error
		if truth, err = virtual.WithFault(truth, fault, size); err != nil {
			p.t.Fatal(err)
		}
	}
	if bare {
		truth, j = truth.BareServo(), j.BareServo()
	}
	r, err := rig.BuiltinRoutine("assembly", j)
	if err != nil {
		p.t.Fatal(err)
	}
	out, err := virtual.Play(virtual.NewWorld([]virtual.Truth{truth}), []rig.Joint{j}, []rig.Routine{r}, 250)
	if err != nil {
		p.t.Fatal(err)
	}
	p.day++
	p.runs++
	info := record.Info{Leg: "fore-left", Routine: r.Name, Started: p.now(), Joints: []record.JointInfo{{Setup: j, Moves: r.Moves}},
		Conditions: record.Conditions{BareServo: bare}}
	if _, err := record.Import(p.dir, info, []*rig.Series{rig.SeriesOf(j.Name, out[0])}); err != nil {
		p.t.Fatal(err)
	}
}

func (p *pastBench) now() time.Time {
	return time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC).AddDate(0, 0, p.day)
}

// does executes a command line, which must end with a code.
func (p *pastBench) does(code int, args ...string) string {
	p.t.Helper()
	var out, errw bytes.Buffer
	a := &app{in: strings.NewReader(""), out: &out, err: &errw, now: p.now}
	root := a.root()
	root.SetArgs(append(args, "--bench", p.dir))
	root.SetOut(&out)
	root.SetErr(&errw)
	err := root.ExecuteContext(p.t.Context())
	printError(&errw, err)
	if got := exitCode(err); got != code {
		p.t.Fatalf("%v: exit code %d, want %d\n%s%s", args, got, code, out.String(), errw.String())
	}
	return out.String() + errw.String()
}

func (p *pastBench) answer(args ...string) health.Health {
	p.t.Helper()
	var h health.Health
	text := p.does(exitDone, append([]string{"analyze", "--json"}, args...)...)
	if err := json.Unmarshal([]byte(text), &h); err != nil {
		p.t.Fatalf("%v: %v\n%s", args, err, text)
	}
	return h
}

func (p *pastBench) says(text string, words ...string) {
	p.t.Helper()
	flat := strings.Join(strings.Fields(text), " ")
	for _, w := range words {
		if !strings.Contains(flat, w) {
			p.t.Errorf("no %q in\n%s", w, text)
		}
	}
}

func play(t *testing.T, h health.Health, path health.Path) health.Measure {
	t.Helper()
	m, ok := h.Joints[0].Find("play", path)
	if !ok {
		t.Fatalf("run %s: no play (%s)", h.Run, path)
	}
	return m
}

// A joint without a limit for its play, from new to a slack belt to a service: judged by its own first
// runs, which later ones never change, and the cure told by the limit that was missed.
func TestBaselineFromTheBook(t *testing.T) {
	p := newPastBench(t)
	for range 3 {
		p.made("", 0, false)
		if m := play(t, p.answer(), health.Total); m.Verdict != health.NoVerdict || m.LimitFrom != "" {
			t.Errorf("run %d is judged by its own baseline: %+v", p.runs, m)
		}
	}
	p.made("belt_slack", 0.9, false)
	h := p.answer()
	m := play(t, h, health.Total)
	if m.Verdict != health.Fail || m.LimitFrom != "baseline of runs 0001, 0002, 0003" || h.Decision != health.DecisionRule {
		t.Errorf("%+v, decision %q", m, h.Decision)
	}
	if f := h.Joints[0].Findings[0]; f.Cause != health.BeltSlack || f.Severity != health.SeverityWarning {
		t.Errorf("%+v", f)
	}
	if r, _ := h.Joints[0].Find("reversal_error", health.Total); r.LimitFrom != health.FromBench {
		t.Errorf("%+v", r)
	}
	p.says(p.does(exitDone, "analyze", "4"), "worse than this joint was when new", "* no limit is stated", "baseline of runs 0001, 0002, 0003.")
	p.does(exitDone, "report", "4")
	page, err := os.ReadFile(filepath.Join(p.dir, "runs/0004/report.html"))
	if err != nil || !bytes.Contains(page, []byte(`<span class="remark">baseline of runs 0001, 0002, 0003</span>`)) {
		t.Errorf("the report does not say where the limit comes from (%v)", err)
	}

	p.day++
	p.does(exitDone, "service", "add", "belt re-tensioned", "--joint", "knee")
	kept := p.kept("0004")
	for range 4 {
		p.made("", 0, false)
		h = p.answer()
	}
	p.says(p.does(exitDone, "problem", "list", "--history"), "cured, proven by run 0005", "limit 0.")
	if m := play(t, h, health.Total); m.LimitFrom != "baseline of runs 0005, 0006, 0007" || m.Verdict != health.Pass {
		t.Errorf("after the service: %+v", m)
	}
	// The book made anew, and every run judged again in whatever order: the same answers.
	all := map[string]string{}
	for _, id := range []string{"0001", "0002", "0003", "0004", "0005", "0006", "0007", "0008"} {
		all[id] = p.kept(id)
	}
	p.does(exitDone, "rebuild")
	for _, id := range []string{"0008", "0004", "0001", "0006", "0002", "0005", "0003", "0007"} {
		p.does(exitDone, "analyze", id)
		if got := p.kept(id); got != all[id] {
			t.Errorf("run %s judged again is another:\n%s\nwas\n%s", id, got, all[id])
		}
	}
	if kept != all["0004"] {
		t.Error("later runs changed the answer of run 0004")
	}
}

func (p *pastBench) kept(id string) string {
	p.t.Helper()
	data, err := os.ReadFile(filepath.Join(p.dir, "runs", id, "health.json"))
	if err != nil {
		p.t.Fatal(err)
	}
	return string(data)
}

// A bare-servo run taken off: the cause is told, the answer keeps it until told otherwise, and what
// does not compare says why.
func TestBareServoFromTheBook(t *testing.T) {
	p := newPastBench(t)
	p.knee.Limits["play"] = 0.5
	p.made("belt_slack", 0.9, false)
	// other returns what a finding could also be, nil where the cause is not named.
	other := func(h health.Health, c health.Cause) []string {
		for _, f := range h.Joints[0].Findings {
			if f.Cause == c {
				return f.CouldAlsoBe
			}
		}
		t.Errorf("run %s: %s is not named: %+v", h.Run, c, h.Joints[0].Findings)
		return nil
	}
	servoPlay, slack := string(health.ServoPlay), string(health.BeltSlack)
	if h := p.answer(); !slices.Contains(other(h, health.BeltSlack), servoPlay) {
		t.Errorf("%+v", h.Joints[0].Findings)
	}
	p.made("belt_slack", 0.9, true)
	p.says(p.does(exitDone, "analyze"), "This run is of the bare servo")
	p.says(p.does(exitDone, "runs"), "assembly, bare servo")
	h := p.answer("1", "--bare", "2")
	if m := play(t, h, health.Transmission); m.Verdict != health.Fail || !strings.Contains(m.Method, "bare servo of run 0002") || h.BareRuns["knee"] != "0002" {
		t.Errorf("%+v, %v", m, h.BareRuns)
	}
	if slices.Contains(other(h, health.BeltSlack), servoPlay) {
		t.Errorf("%+v", h.Joints[0].Findings)
	}
	p.does(exitDone, "report", "1")
	if h := p.answer("1"); h.BareRuns["knee"] != "0002" {
		t.Error("the report or the next judging forgot the bare servo")
	}
	h = p.answer("1", "--bare", "none")
	if _, ok := h.Joints[0].Find("play", health.Transmission); ok || h.BareRuns != nil {
		t.Errorf("none, and %v", h.BareRuns)
	}
	// Named in bench.toml it serves the runs to come, and says so when the servo may have worn since.
	p.knee.Servo.BareRun = "2"
	p.made("belt_slack", 0.9, false)
	if h := p.answer(); slices.Contains(other(h, health.BeltSlack), servoPlay) || h.BareRuns != nil {
		t.Errorf("%+v, %v", h.Joints[0].Findings, h.BareRuns)
	}
	p.day += 30
	p.made("servo_play", 1.6, false)
	if h := p.answer(); !slices.Contains(other(h, health.BeltSlack), servoPlay) {
		t.Errorf("an old bare-servo run excludes play the servo got since: %+v", h.Joints[0].Findings)
	}
	p.made("servo_play", 1.6, true)
	if h := p.answer("4", "--bare", "5"); slices.Contains(other(h, health.ServoPlay), slack) || len(h.Joints[0].Findings) != 1 {
		t.Errorf("%+v", h.Joints[0].Findings)
	}
	// Other servo settings do not compare, a run that is none is refused, one that went is said.
	p.knee.Servo.DeadbandUS, p.knee.Servo.BareRun = 6, ""
	p.made("", 0, false)
	p.says(p.does(exitDone, "analyze", "6", "--bare", "5"), "not comparable because the servo is described otherwise", "dead band 3 us, here", "dead band 6 us")
	p.says(p.does(exitInput, "analyze", "1", "--bare", "3"), "run 0003 is no run of a bare servo", "sweep knee --bare-servo")
	if err := os.RemoveAll(filepath.Join(p.dir, "runs", "0002")); err != nil {
		t.Fatal(err)
	}
	p.says(p.does(exitDone, "analyze", "3"), "Nothing was taken off for the bare servo: there is no run 0002")
}
