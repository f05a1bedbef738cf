package analyze_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"limbgauge/analyze/health"
	"limbgauge/rig"
	"limbgauge/rig/virtual"
)

// bent is one joint of the virtual stand with what is true of its loop.
type bent struct {
	series *rig.Series
	joint  rig.Joint
	path   health.Path
	reach  float64 // greatest torque of the load at a stop, N·m
	play, compliance, friction,
	slack float64 // of the path; slack is 0 for a direct joint
}

// bend draws a joint, sweeps it and tells what is true of it. Half have off-centre sensors; bench.toml
// knows the load to 1.5 %, as loadU says. Only what a motor-side angle shows is drawn.
func bend(t *testing.T, seed uint64) bent {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 0x6c6f6f70))
	u := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	mass, lever := u(0.15, 0.35), u(0.09, 0.14)
	j := rig.Joint{Name: "knee", RangeDeg: [2]float64{-75, 75},
		Servo: rig.Servo{Rated: []rig.Rating{{Volts: 6, StallNm: u(1.2, 1.9), NoLoadDegPerS: 420, StallA: 2.5}}, IdleA: 0.12,
			TravelDeg: 180, PulseUS: [2]int{500, 2500}, DeadbandUS: 3},
		Load: &rig.Load{MassKg: mass, LeverM: lever, InertiaKgM2: 1.1 * mass * lever * lever}}
	j.Sensors.JointCounts, j.Sensors.MotorCounts = 4096<<(2*rng.IntN(2)), 4096
	if rng.Float64() < 0.75 {
		j.Belt = &rig.Belt{Teeth: 18 + rng.IntN(8), PitchMM: 2, Ratio: 1}
	}
	if rng.Float64() < 0.2 {
		j.Load.DownDeg = u(-20, 20)
	}
	truth := virtual.Healthy(j, seed+1)
	x := &truth.Sensors
	noise := []float64{0.01, 0.03, 0.06}[rng.IntN(3)]
	x.Joint.NoiseDeg, x.Motor.NoiseDeg = noise, noise
	x.Joint.Phase1Deg, x.Motor.Phase1Deg = u(-180, 180), u(-180, 180)
	if rng.IntN(2) == 0 {
		x.Joint.Wave1Deg, x.Motor.Wave1Deg = 0, 0
	}
	truth.Part.DegPerNm, truth.Bearing.CoulombNm = u(0.5, 1.6), u(0.003, 0.03)
	b := bent{joint: j, path: health.Transmission, reach: mass * 9.80665 * lever * math.Sin(64.5*math.Pi/180)}
	switch k := rng.Float64(); {
	case j.Belt != nil && k < 0.4:
		r := j.Belt.JointRadiusM()
		truth.Belt.TensionN += u(0.25, 0.75)*b.reach/(2*r) - truth.Belt.TensionAt(truth.Belt.AgeS)
	case j.Belt != nil && k < 0.6:
		truth.Belt.TensionN, truth.Belt.SlackDeg = 0, u(0.3, 1.2)
	}
	load := *j.Load
	load.MassKg *= 1 + 0.015*rng.NormFloat64()
	b.joint.Load = &load

	b.play, b.compliance, b.slack = truth.Part.PlayDeg, truth.DegPerNm(), truth.SlackNm()
	b.friction = truth.Bearing.CoulombNm + truth.Bearing.ViscousNmSPerRad*15*math.Pi/180
	if truth.Belt != nil && b.slack == 0 { // one span alone, and the gap
		b.play += truth.Belt.SlackDeg
		b.compliance = 2*b.compliance - truth.Part.DegPerNm
	}
	cycles, passes := 2+rng.IntN(4), 2+rng.IntN(4)
	b.series = swept(t, j, truth, cycles, passes)
	return b
}

// swept plays a stair of some cycles and some ramps each way on the virtual stand.
func swept(t *testing.T, j rig.Joint, truth virtual.Truth, cycles, passes int) *rig.Series {
	t.Helper()
	r := rig.Routine{Name: "loop"}
	add := func(kind rig.MoveKind, deg, rate float64, dwell time.Duration) {
		r.Moves = append(r.Moves, rig.Move{Kind: kind, TargetDeg: deg, RateDegPerS: rate, Dwell: dwell})
	}
	const turn = 64.5
	stops := []float64{-60, -46.8, -27.9, -16, 1.8, 13.7, 32.1, 43.4, 60}
	add(rig.MoveSettle, -turn, 20, time.Second)
	for range cycles {
		for _, s := range stops {
			add(rig.MoveStair, s, 60, 500*time.Millisecond)
		}
		add(rig.MoveTurn, turn, 60, 400*time.Millisecond)
		for i := range stops {
			add(rig.MoveStair, stops[len(stops)-1-i], 60, 500*time.Millisecond)
		}
		add(rig.MoveTurn, -turn, 60, 400*time.Millisecond)
	}
	for range passes {
		add(rig.MoveRamp, turn, 15, 300*time.Millisecond)
		add(rig.MoveRamp, -turn, 15, 300*time.Millisecond)
	}
	out, err := virtual.Play(virtual.NewWorld([]virtual.Truth{truth}), []rig.Joint{j}, []rig.Routine{r}, 250)
	if err != nil {
		t.Fatal(err)
	}
	return rig.SeriesOf(j.Name, out[0])
}

// tally counts how intervals of one measure stand to the truth.
type tally struct {
	in, n   int
	sq, sum float64 // squared errors, uncertainties
}

func (a *tally) add(m health.Measure, want float64) {
	if m.Status != health.Measured {
		return
	}
	a.n++
	a.sq += (m.Value - want) * (m.Value - want)
	a.sum += m.Uncertainty
	if math.Abs(m.Value-want) <= m.Uncertainty {
		a.in++
	}
}

// check wants 95 % less four standard deviations of a binomial count, and intervals not wider on
// average than so many times the root mean square error.
func (a tally) check(t *testing.T, name string, widest float64) {
	t.Helper()
	n := float64(a.n)
	rms, u := math.Sqrt(a.sq/n), a.sum/n
	t.Logf("%s: %d of %d intervals hold the truth; error %.4g rms, U %.4g on average", name, a.in, a.n, rms, u)
	if least := 0.95 - 4*math.Sqrt(0.95*0.05/n); float64(a.in) < least*n {
		t.Errorf("%s: %d of %d intervals hold the truth, want at least %.0f %%", name, a.in, a.n, 100*least)
	}
	if u > widest*rms {
		t.Errorf("%s: U %.4g on average where the error is %.4g rms", name, u, rms)
	}
}

// The loop's intervals hold what was put into the virtual stand, and are no wider than its scatter,
// the load's uncertainty and the sensors' form ask for. A tension whose knee lies well within the loads is
// told to 15 %; a bound on it is true.
func TestLoopOnTheVirtualStand(t *testing.T) {
	runs := uint64(40)
	if testing.Short() {
		runs = 12
	}
	var play, compliance, friction, slack tally
	knees, seen := 0, 0
	for seed := range runs {
		b := bend(t, seed)
		h := run(t, b.series, b.joint)
		get := func(name string) health.Measure { m, _ := h.Find(name, b.path); return m }
		play.add(get("play"), b.play)
		compliance.add(get("compliance"), b.compliance)
		friction.add(get("friction"), b.friction)
		if b.joint.Belt == nil {
			continue
		}
		m := get("span_slack_torque")
		slack.add(m, b.slack)
		if b.slack > 0.2*b.reach && b.slack < 0.8*b.reach {
			knees++
			if m.Status == health.Measured {
				seen++
				if off := math.Abs(m.Value/b.slack - 1); off > 0.15 {
					t.Errorf("seed %d: slack from %.4f N·m, true %.4f: %.0f %% off", seed, m.Value, b.slack, 100*off)
				}
			}
		}
		if bad := m.Status == health.BoundLow && b.slack < m.Value || m.Status == health.BoundHigh && b.slack > m.Value; bad {
			t.Errorf("seed %d: slack %s %.4f N·m, true %.4f", seed, m.Status, m.Value, b.slack)
		}
	}
	play.check(t, "play", 4)
	compliance.check(t, "compliance", 4)
	friction.check(t, "friction", 6)
	t.Logf("%d of %d knees between 20 and 80 %% of the torque seen", seen, knees)
	if !testing.Short() {
		slack.check(t, "span_slack_torque", 5)
		if 2*seen < knees {
			t.Errorf("%d of %d knees seen", seen, knees)
		}
	}
}
