package endurance

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"limbgauge/analyze/drive"
	"limbgauge/analyze/health"
	"limbgauge/analyze/internal/ref"
	"limbgauge/rig"
)

func TestEveryRuleSaysWhenAndWhatNext(t *testing.T) {
	seen := map[Key]bool{}
	for _, r := range Rules() {
		if r.When == "" || r.Next == "" || seen[r.Key] || RuleOf(r.Key) != r {
			t.Errorf("%+v", r)
		}
		if r.Twice && r.Kind != Check {
			t.Errorf("%s can not be repeated", r.Key)
		}
		seen[r.Key] = true
	}
	for _, k := range []Key{Cycles, Hours, User, Trip, Lost, Gaps, Heat, Temperature, Follow, Blind, Limit, Fault, Warning, TrendAlarm} {
		if !seen[k] {
			t.Errorf("no rule %s", k)
		}
	}
}

// A test of 1000 cycles, checks every 300, runs of at most 200: the order written out by hand.
func TestPlan(t *testing.T) {
	p := Plan{Cycles: 1000, CheckEvery: 300, RunCycles: 200, Cycle: 2 * time.Second}
	if err := p.Check(); err != nil {
		t.Fatal(err)
	}
	var got []string
	var c Count
	for range 100 {
		check, n, end := p.Next(c)
		if end != nil {
			if end.Rule.Key != Cycles {
				t.Errorf("ended by %s", end.Rule.Key)
			}
			break
		}
		if check {
			got = append(got, "check")
			c.Add(Run{ID: "r", Check: true})
			continue
		}
		got = append(got, strings.Repeat("=", n/100))
		c.Add(Run{Cycles: n, Took: time.Duration(n) * p.Cycle})
	}
	want := "check == = check == = check == = check = check"
	if s := strings.Join(got, " "); s != want {
		t.Errorf("got  %s\nwant %s", s, want)
	}
	if c.Cycles != 1000 || c.Checks != 5 || c.Took != 2000*time.Second {
		t.Errorf("%+v", c)
	}
	// A test taken up again goes on where it was: nothing is done twice.
	c = CountOf([]Run{{ID: "1", Check: true}, {ID: "2", Cycles: 137}})
	if check, n, end := p.Next(c); check || n != 163 || end != nil {
		t.Errorf("after 137 cycles: check %v, %d cycles, %v; want 163 more", check, n, end)
	}
	if left := p.Left(c); left != 863*2*time.Second {
		t.Errorf("left %v", left)
	}
	p = Plan{Hours: time.Hour, CheckEvery: 1e6, RunCycles: 1000, Cycle: 2 * time.Second}
	c = CountOf([]Run{{ID: "1", Check: true}, {Cycles: 1700, Took: 3400 * time.Second}})
	if _, n, _ := p.Next(c); n != 100 {
		t.Errorf("with 200 s left %d cycles of 2 s, want 100", n)
	}
	for _, bad := range []Plan{{}, {Cycles: -1, CheckEvery: 1, RunCycles: 1}, {Cycles: 1, RunCycles: 1}, {Cycles: 1, CheckEvery: 1}} {
		if bad.Check() == nil {
			t.Errorf("%+v was accepted", bad)
		}
	}
}

func knee() rig.Joint {
	j := rig.DefaultJoint(0)
	j.Name, j.RangeDeg = "knee", [2]float64{-75, 75}
	j.Servo.Rated = []rig.Rating{{Volts: 6, StallNm: 1.4, NoLoadDegPerS: 420, StallA: 2.4}}
	j.Servo.IdleA = 0.12
	return j
}

// batch makes samples at 100 Hz.
func batch(seconds float64, at func(s float64) rig.Row) *rig.Batch {
	b := &rig.Batch{}
	for i := range int(seconds * 100) {
		r := at(float64(i) / 100)
		r.TimeUS = int64(i) * 10_000
		b.Append(r)
	}
	return b
}

// rest is a joint that stands where it should, under a current.
func rest(mA int32) func(float64) rig.Row {
	return func(float64) rig.Row {
		return rig.Row{Motor: rig.Missing, Current: mA, Supply: 6000, Torque: rig.Missing, Temp: rig.Missing}
	}
}

// A constant current heats by 1 - e^(-t/τ); over the limit of a quarter of the stall current it passes
// after -τ·ln(1 - (I_cont/I)²) (closed form, check of the heating model: drive.AllowedTime).
func TestHeatPassesWhenTheClosedFormSays(t *testing.T) {
	for _, row := range []struct {
		law  rig.CurrentLaw
		mA   int32
		amps float64 // in the winding
	}{
		{rig.CurrentMotor, 900, 0.9}, {rig.CurrentUnknown, 900, 0.9},
		// Square law at standstill: (0.405 - 0.12)/2.28 = 1/8 of the share, √(1/8) of the torque.
		{rig.CurrentDuty, 405, 0.12 + 2.28*math.Sqrt(0.125)},
	} {
		j := knee()
		j.Servo.CurrentLaw = row.law
		want := drive.AllowedTime(row.amps, 0.6, 120)
		for _, t2 := range []struct {
			s    float64
			stop bool
		}{{want - 0.5, false}, {want + 0.5, true}} {
			var s *Stop
			err := NewGuard(j).Look(batch(t2.s, rest(row.mA)))
			if errors.As(err, &s) != t2.stop || t2.stop && s.Rule.Key != Heat {
				t.Errorf("%s law, %.1f s of %.1f allowed: %v", row.law, t2.s, want, err)
			}
		}
	}
	// Carried over: half the time, a rest of one time constant, and the heat is what the law says.
	g := NewGuard(knee())
	if err := g.Look(batch(60, rest(900))); err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "heat after 60 s", g.Heat(), 2.25*(1-math.Exp(-0.5)), 2e-3, "x' = (I² - x)/τ")
	hot := g.Heat()
	g.Rest(120)
	ref.Near(t, "heat after a rest", g.Heat(), hot/math.E, 1e-9, "e^(-t/τ)")
	g.HeatMost = 0
	if err := g.Look(batch(1000, rest(2400))); err != nil {
		t.Errorf("without a limit: %v", err)
	}
	bare := knee()
	bare.Servo.Rated = nil
	if g := NewGuard(bare); g.Look(batch(100, rest(5000))) != nil || !math.IsNaN(g.Heat()) {
		t.Error("heat without a rated line is known")
	}
}

func TestGuardSeesWhatIsWrong(t *testing.T) {
	row := func(change func(r *rig.Row, s float64)) func(float64) rig.Row {
		return func(s float64) rig.Row {
			r := rest(200)(s)
			change(&r, s)
			return r
		}
	}
	for _, test := range []struct {
		name string
		at   func(float64) rig.Row
		want Key
	}{
		{"healthy", row(func(r *rig.Row, s float64) { r.Command, r.Angle = int32(9000*s), int32(9000*s)-3000 }), ""},
		{"lags for half a second", row(func(r *rig.Row, s float64) {
			if s < 0.5 {
				r.Command = 40_000
			}
		}), ""},
		{"stays behind", row(func(r *rig.Row, s float64) { r.Command = 16_000 }), Follow},
		{"a reading missing now and then", row(func(r *rig.Row, s float64) {
			if math.Mod(s, 1) < 0.5 {
				r.Angle = rig.Missing
			}
		}), ""},
		{"blind", row(func(r *rig.Row, s float64) { r.Angle = rig.Missing }), Blind},
		{"warm", row(func(r *rig.Row, s float64) { r.Temp = 5900 }), ""},
		{"hot", row(func(r *rig.Row, s float64) { r.Temp = 4000 + int32(s*1000) }), Temperature},
	} {
		err := NewGuard(knee()).Look(batch(5, test.at))
		var s *Stop
		got := Key("")
		if errors.As(err, &s) {
			got = s.Rule.Key
		}
		if got != test.want {
			t.Errorf("%s: %q (%v), want %q", test.name, got, err, test.want)
		}
	}
}

func TestGaps(t *testing.T) {
	for _, row := range []struct {
		lost, kept int
		stop       bool
	}{{0, 0, false}, {100, 900, false}, {101, 899, true}, {5, 0, true}} {
		if got := GapsOf(row.lost, row.kept); (got != nil) != row.stop {
			t.Errorf("%+v: %v", row, got)
		}
	}
}

func TestJudge(t *testing.T) {
	worn := health.Judge(health.Of("belt_tension", health.Transmission, 15, 1, ""), 25)
	worn.LimitFrom = health.FromBench
	own := health.Judge(health.Of("friction", health.Total, 0.2, 0.01, ""), 0.1)
	own.LimitFrom = "runs 1 to 3"
	find := func(c health.Cause, s health.Severity) health.Joint {
		return health.Joint{Findings: []health.Finding{{Cause: c, Severity: s, Evidence: []string{"seen"}}}}
	}
	fine := find(health.None, health.SeverityOK)
	limit := health.Joint{Measures: []health.Measure{worn}, Findings: fine.Findings}
	for _, test := range []struct {
		name    string
		j       health.Joint
		despite []string
		first   Key // by which rule it ends at once
		second  Key // when it is seen again
	}{
		{"fine", fine, nil, "", ""},
		{"limit", limit, nil, "", Limit},
		{"limit that is accepted", limit, []string{"belt_tension"}, "", ""},
		{"baseline", health.Joint{Measures: []health.Measure{own}, Findings: fine.Findings}, nil, "", ""},
		{"fault", find(health.ToothSkip, health.SeverityFault), nil, Fault, Fault},
		{"warning", find(health.NearStall, health.SeverityWarning), nil, "", Warning},
		{"warning that is accepted", find(health.NearStall, health.SeverityWarning), []string{"near_stall"}, "", ""},
		{"trend", fine, nil, TrendAlarm, TrendAlarm},
	} {
		for i, want := range []Key{test.first, test.second} {
			var alarms []Alarm
			if test.name == "trend" {
				alarms = []Alarm{{"belt tension falls"}}
			}
			v := Judge(test.j, alarms, i == 1, test.despite)
			got := Key("")
			if v.Stop != nil {
				got = v.Stop.Rule.Key
			}
			if got != want || v.Again != (i == 0 && test.first == "" && test.second != "") {
				t.Errorf("%s, sweep %d: %+v, want %q", test.name, i+1, v, want)
			}
			if v.Stop != nil && v.Stop.Why == "" {
				t.Errorf("%s: no word of why", test.name)
			}
		}
	}
}
