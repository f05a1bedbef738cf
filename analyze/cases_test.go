package analyze_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"limbgauge/analyze"
	"limbgauge/analyze/health"
	"limbgauge/analyze/internal/ref"
	"limbgauge/rig"
	"limbgauge/rig/record"
)

// caselog is a log of a joint made by a physics model that is not ours, with what was put into it.
type caselog struct {
	name   string
	series *rig.Series
	joint  rig.Joint
	truth  truth
}

type truth struct {
	Cause       string             `json:"cause"`
	MotorSensor bool               `json:"motor_sensor"`
	Moves       bool               `json:"moves_column"`
	Values      map[string]float64 `json:"values"`
}

// caselogs reads all logs; the test is skipped where they are not, unless they are required.
func caselogs(t testing.TB) []caselog {
	t.Helper()
	folder := filepath.Join(ref.Root(t), "..", "shared", "caselogs")
	dirs, err := filepath.Glob(filepath.Join(folder, "case*"))
	if err != nil {
		t.Fatal(err)
	}
	if len(dirs) == 0 {
		if os.Getenv(ref.RequireAll) == "1" {
			t.Fatalf("no logs in %s", folder)
		}
		t.Skipf("no logs in %s", folder)
	}
	if len(dirs) < 16 {
		t.Fatalf("%d logs in %s, want 16", len(dirs), folder)
	}
	var out []caselog
	for _, d := range dirs {
		out = append(out, readCase(t, d))
	}
	return out
}

func readCase(t testing.TB, dir string) caselog {
	t.Helper()
	bench, err := rig.LoadBench(filepath.Join(dir, "bench.toml"))
	if err != nil {
		t.Fatal(err)
	}
	logs, err := record.ReadCSV(filepath.Join(dir, "log.csv.gz"), record.CSVOptions{})
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	c := caselog{name: filepath.Base(dir), series: logs[0], joint: bench.Joints[0]}
	if err := json.Unmarshal(data, &c.truth); err != nil {
		t.Fatal(err)
	}
	if len(logs) != 1 || (c.series.Motor != nil) != c.truth.MotorSensor || (c.series.Move != nil) != c.truth.Moves {
		t.Fatalf("%s: the log is not what its truth says", c.name)
	}
	return c
}

func run(t testing.TB, s *rig.Series, j rig.Joint) health.Joint {
	t.Helper()
	h, err := analyze.Run(s, j)
	if err != nil {
		t.Fatal(err)
	}
	checkForm(t, h)
	return h
}

// checkForm holds what every answer keeps to, whatever the log.
func checkForm(t interface{ Errorf(string, ...any) }, h health.Joint) {
	if len(h.Findings) == 0 {
		t.Errorf("no finding")
	}
	for _, f := range h.Findings {
		if f.Cause == health.None && len(h.Findings) > 1 {
			t.Errorf("none beside other findings: %v", causes(h))
		}
	}
	type id struct {
		name string
		path health.Path
	}
	seen := map[id]bool{}
	for _, m := range h.Measures {
		if seen[id{m.Name, m.Path}] {
			t.Errorf("%s (%s) twice", m.Name, m.Path)
		}
		seen[id{m.Name, m.Path}] = true
		switch {
		case m.Status == health.NotObservable && (m.Reason == "" || !math.IsNaN(m.Value) || m.Verdict == health.Pass || m.Verdict == health.Fail):
			t.Errorf("not observable: %+v", m)
		case m.Status != health.NotObservable && (math.IsNaN(m.Value) || math.IsInf(m.Value, 0)):
			t.Errorf("no value: %+v", m)
		case m.Uncertainty < 0 || math.IsInf(m.Uncertainty, 0):
			t.Errorf("uncertainty: %+v", m)
		case (m.Status == health.BoundLow || m.Status == health.BoundHigh) && m.Reason == "":
			t.Errorf("a bound without reason: %+v", m)
		case m.Method == "":
			t.Errorf("no method: %+v", m)
		}
	}
	for _, c := range h.Curves {
		for _, l := range c.Lines {
			if len(l.X) != len(l.Y) {
				t.Errorf("curve %s, line %s: %d and %d", c.ID, l.Name, len(l.X), len(l.Y))
			}
		}
		if c.ID == "" || c.Alt == "" || c.XLabel == "" || c.YLabel == "" {
			t.Errorf("curve %q: alt %q, axes %q and %q", c.ID, c.Alt, c.XLabel, c.YLabel)
		}
	}
	if _, err := json.Marshal(h); err != nil {
		t.Errorf("%v", err)
	}
}

func causes(h health.Joint) (out []string) {
	for _, f := range h.Findings {
		out = append(out, fmt.Sprintf("%s (also %v)", f.Cause, f.CouldAlsoBe))
	}
	return out
}

// wantCause holds the findings against what was put in. The true cause comes first; where the
// sensors cannot tell it, and only there, it may stand in could_also_be of the first finding.
func wantCause(t *testing.T, c caselog, h health.Joint, toldApart bool) {
	t.Helper()
	first := h.Findings[0]
	want := c.truth.Cause
	if want == "hidden" {
		for _, p := range []health.Path{health.Transmission, health.Total} {
			if m, ok := h.Find("play", p); ok && m.Status != health.NotObservable {
				t.Errorf("play (%s) %s %.3f, but the load never opens it", p, m.Status, m.Value)
			}
		}
		want = "none"
	}
	if want == "none" && len(h.Findings) != 1 {
		t.Errorf("findings %v, want none alone", causes(h))
	}
	if string(first.Cause) == want || !toldApart && slices.Contains(first.CouldAlsoBe, want) {
		return
	}
	t.Errorf("findings %v, want %s first; evidence %q", causes(h), want, first.Evidence)
}

// The true cause of every log is found, and nothing in the sound ones.
func TestCaseLogsCauses(t *testing.T) {
	for _, c := range caselogs(t) {
		t.Run(c.name+" "+c.truth.Cause, func(t *testing.T) {
			wantCause(t, c, run(t, c.series, c.joint), c.truth.MotorSensor)
		})
	}
}

// The figures are those that were put in.
func TestCaseLogsFigures(t *testing.T) {
	for _, c := range caselogs(t) {
		t.Run(c.name+" "+c.truth.Cause, func(t *testing.T) {
			h := run(t, c.series, c.joint)
			v := c.truth.Values
			path := health.Total
			if c.truth.MotorSensor {
				path = health.Transmission
			}
			if c.truth.MotorSensor {
				within(t, h, "play", path, v["transmission_play_deg"], 0.1)
				inside(t, h, "compliance", path, v["transmission_compliance_deg_per_nm"])
			}
			inside(t, h, "friction", health.Transmission, v["bearing_nm"])
			if c.joint.Belt != nil {
				tension(t, h, path, v["belt_tension_n"])
			}
			if !slices.Contains(offCommand, c.truth.Cause) {
				inside(t, h, "load_torque_peak", health.Total, v["load_torque_peak_nm"])
			}
			steps(t, h, path, v["slip_deg"], v["slip_at_s"])
			stall(t, h, v["stall_s"])
			supply(t, c, h, v["supply_min_v"])
			if v["tight_nm"] > 0 {
				inside(t, h, "tight_spot", health.Total, v["tight_nm"])
				inside(t, h, "tight_spot_angle", health.Total, v["tight_at_deg"])
			}
		})
	}
}

// offCommand are the causes that keep a joint well off its command, whose load is not the one the
// truth states, that at the commanded angles.
var offCommand = []string{"tooth_skip", "near_stall", "stall"}

func find(t *testing.T, h health.Joint, name string, p health.Path) (health.Measure, bool) {
	t.Helper()
	m, ok := h.Find(name, p)
	if !ok {
		m, ok = h.Find(name, health.NoPath)
	}
	if !ok {
		t.Errorf("no measure %s (%s)", name, p)
	}
	return m, ok
}

// within wants a measured figure near the truth; one that was not seen proves nothing here.
func within(t *testing.T, h health.Joint, name string, p health.Path, want, tol float64) {
	t.Helper()
	if m, ok := find(t, h, name, p); ok && m.Status == health.Measured && !(math.Abs(m.Value-want) <= tol) {
		t.Errorf("%s (%s) %.4g ± %.2g, true %.4g ± %g", name, p, m.Value, m.Uncertainty, want, tol)
	}
}

// inside wants the truth in the interval, or on the side a bound allows.
func inside(t *testing.T, h health.Joint, name string, p health.Path, want float64) {
	t.Helper()
	m, ok := find(t, h, name, p)
	if !ok {
		return
	}
	u := m.Uncertainty
	if math.IsNaN(u) {
		u = 0
	}
	bad := false
	switch m.Status {
	case health.Measured:
		bad = math.Abs(m.Value-want) > u
	case health.BoundLow:
		bad = want < m.Value-u
	case health.BoundHigh:
		bad = want > m.Value+u
	}
	if bad {
		t.Errorf("%s (%s) %s %.4g ± %.2g, true %.4g", name, p, m.Status, m.Value, m.Uncertainty, want)
	}
}

func tension(t *testing.T, h health.Joint, p health.Path, want float64) {
	t.Helper()
	m, ok := find(t, h, "belt_tension", p)
	if ok && m.Status == health.Measured {
		within(t, h, "belt_tension", p, want, 0.15*want)
	}
	inside(t, h, "belt_tension", p, want)
}

// steps wants the slip's size to 2 % and its time; where none was put in, none may be named.
func steps(t *testing.T, h health.Joint, p health.Path, size, at float64) {
	t.Helper()
	m, ok := find(t, h, "offset_step", p)
	if !ok {
		return
	}
	if size == 0 {
		if m.Status == health.Measured {
			t.Errorf("a step of %.3f ± %.3f deg where none was", m.Value, m.Uncertainty)
		}
		return
	}
	if m.Status != health.Measured || math.Abs(math.Abs(m.Value)-size) > 0.02*size {
		t.Errorf("step %s %.3f ± %.3f deg, true %.3f", m.Status, m.Value, m.Uncertainty, size)
	}
	t.Logf("step %.3f ± %.3f deg, true %.3f", m.Value, m.Uncertainty, size)
	if math.Abs(math.Abs(m.Value)-size) > m.Uncertainty {
		t.Errorf("step %.3f ± %.3f deg, true %.3f", m.Value, m.Uncertainty, size)
	}
	inside(t, h, "offset_step_time", p, at)
}

func stall(t *testing.T, h health.Joint, want float64) {
	t.Helper()
	m, ok := find(t, h, "stall_time", health.NoPath)
	if !ok {
		return
	}
	// The model counts moments of standstill too; what is called a stall lasts 0.25 s.
	if want < 0.25 {
		want = 0
	}
	if m.Status == health.NotObservable || math.Abs(m.Value-want) > math.Max(m.Uncertainty, 0.05*want) {
		t.Errorf("stall %s %.2f ± %.2f s, true %.2f", m.Status, m.Value, m.Uncertainty, want)
	}
}

// supply wants the sag to lead from the voltage at rest to the true minimum, or not so far: dips
// between samples are not seen. The voltage at rest is read off the log before anything moves; the
// idle current has taken up to 0.1 V of the no-load voltage by then.
func supply(t *testing.T, c caselog, h health.Joint, lowest float64) {
	t.Helper()
	m, ok := find(t, h, "supply_sag", health.NoPath)
	if !ok || m.Status == health.NotObservable {
		return
	}
	rest := 0.0
	for _, v := range c.series.Supply[:100] {
		rest += v / 100
	}
	if sag := rest - lowest; m.Value > sag+0.1 || m.Value < 0.7*sag-0.05 {
		t.Errorf("supply sag at least %.3f V, from %.3f V at rest to the true minimum it is %.3f V", m.Value, rest, sag)
	}
}
