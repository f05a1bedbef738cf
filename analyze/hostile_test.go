package analyze_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"limbgauge/analyze"
	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// sound is a short run of a sound joint in closed form, for tests that need no log: a stair over
// nine stops, both ways, three times, under a hanging load, with two quanta of noise.
func sound() (*rig.Series, rig.Joint) {
	j := rig.Joint{Name: "knee", RangeDeg: [2]float64{-75, 75}, Load: &rig.Load{MassKg: 0.25, LeverM: 0.11},
		Servo:   rig.Servo{Rated: []rig.Rating{{Volts: 6, StallNm: 1.4, NoLoadDegPerS: 420, StallA: 2.4}}, IdleA: 0.12, TravelDeg: 180, PulseUS: [2]int{500, 2500}, DeadbandUS: 3},
		Belt:    &rig.Belt{Teeth: 20, PitchMM: 2, Ratio: 1},
		Sensors: rig.Sensors{JointCounts: 4096, MotorCounts: 4096},
		Limits:  rig.Limits{"play": 0.5, "compliance": 4.5, "belt_tension": 25, "friction": 0.06, "torque_use": 0.5, "creep": 0.5, "supply_sag": 0.6}}
	s := &rig.Series{Joint: "knee"}
	noise := uint32(7)
	jitter := func() float64 { // a fixed sequence, -0.5 to 0.5
		noise = noise*1664525 + 1013904223
		return float64(noise>>8)/(1<<24) - 0.5
	}
	now, at := 0.0, -60.0
	add := func(c float64) {
		load := -0.25 * 9.80665 * 0.11 * math.Sin(c*math.Pi/180)
		motor := c + 1.0*load + 0.1*jitter()
		s.Time, s.Command = append(s.Time, now), append(s.Command, c)
		s.Motor, s.Angle = append(s.Motor, motor), append(s.Angle, motor+2*load+0.1*jitter())
		s.Current, s.Supply = append(s.Current, 0.12+1.6*math.Abs(load)+0.01*jitter()), append(s.Supply, 6+0.01*jitter())
		now += 0.004
	}
	goTo := func(target, rate, dwell float64) {
		for math.Abs(target-at) > rate*0.004 {
			at += math.Copysign(rate*0.004, target-at)
			add(at)
		}
		at = target
		for range int(dwell / 0.004) {
			add(at)
		}
	}
	for range 3 {
		for _, dir := range []float64{1, -1} {
			for k := range 9 {
				goTo(dir*(-52+13*float64(k)), 60, 0.6)
			}
			goTo(dir*60, 60, 0.4)
		}
	}
	goTo(-60, 15, 0.3)
	goTo(60, 15, 0.3)
	goTo(-60, 15, 0.3)
	return s, j
}

func TestSoundJoint(t *testing.T) {
	s, j := sound()
	h := run(t, s, j)
	if len(h.Findings) != 1 || h.Findings[0].Cause != health.None {
		t.Errorf("findings %v", causes(h))
	}
	inside(t, h, "compliance", health.Transmission, 2)
	inside(t, h, "play", health.Transmission, 0)
	inside(t, h, "compliance", health.Servo, 1)
	inside(t, h, "load_torque_peak", health.NoPath, 0.25*9.80665*0.11*math.Sin(60*math.Pi/180))
}

// What cannot be analysed at all is one clear error.
func TestErrors(t *testing.T) {
	s, j := sound()
	none := func(n int, command, angle bool) *rig.Series {
		out := &rig.Series{Joint: "knee", Time: s.Time[:n]}
		if command {
			out.Command = s.Command[:n]
		}
		if angle {
			out.Angle = s.Angle[:n]
		}
		return out
	}
	for _, c := range []struct {
		name string
		s    *rig.Series
		says string
	}{
		{"nothing", &rig.Series{}, "0 samples"},
		{"too short", none(49, true, true), "49 samples"},
		{"no command", none(200, false, true), "command"},
		{"no joint angle", none(200, true, false), "joint angle"},
		{"command is never a number", with(s, func(o *rig.Series) { fill(o.Command, math.NaN()) }), "command"},
		{"joint angle is never a number", with(s, func(o *rig.Series) { fill(o.Angle, math.NaN()) }), "joint angle"},
		{"columns of unlike length", with(s, func(o *rig.Series) { o.Current = o.Current[:100] }), "current"},
		{"time runs back", with(s, func(o *rig.Series) { slices.Reverse(o.Time) }), "time"},
		{"time stands", with(s, func(o *rig.Series) { fill(o.Time, 1) }), "time"},
		{"time is no number", with(s, func(o *rig.Series) { o.Time[70] = math.NaN() }), "time"},
	} {
		h, err := analyze.Run(c.s, j)
		if err == nil {
			t.Errorf("%s: %v, want an error", c.name, causes(h))
			continue
		}
		if msg := err.Error(); !strings.Contains(msg, "knee") || !strings.Contains(msg, c.says) || strings.HasSuffix(msg, ".") {
			t.Errorf("%s: %q, want the joint and %q", c.name, msg, c.says)
		}
	}
}

func with(s *rig.Series, change func(o *rig.Series)) *rig.Series {
	o := clone(s)
	change(o)
	return o
}

func fill(col []float64, v float64) {
	for i := range col {
		col[i] = v
	}
}

// Data no rig should make: whatever it is, the answer has its form, and no fault is made up.
func TestHostileData(t *testing.T) {
	s, j := sound()
	for _, c := range []struct {
		name  string
		s     *rig.Series
		j     func(*rig.Joint)
		sound bool // nothing may be named
	}{
		{name: "current never a number", s: with(s, func(o *rig.Series) { fill(o.Current, math.NaN()) }), sound: true},
		{name: "supply never a number", s: with(s, func(o *rig.Series) { fill(o.Supply, math.NaN()) }), sound: true},
		{name: "motor angle never a number", s: with(s, func(o *rig.Series) { fill(o.Motor, math.NaN()) }), sound: true},
		{name: "torque never a number", s: with(s, func(o *rig.Series) { o.Torque = clone(s).Time; fill(o.Torque, math.NaN()) }), sound: true},
		{name: "constant command", s: with(s, func(o *rig.Series) { fill(o.Command, 10); fill(o.Angle, 10.1); fill(o.Motor, 10) }), sound: true},
		{name: "60 samples", s: pick(s, func(i int) bool { return i < 60 }), sound: true},
		{name: "50 samples", s: pick(s, func(i int) bool { return i < 50 }), sound: true},
		{name: "one stop", s: pick(s, func(i int) bool { return i < 190 }), sound: true},
		{name: "half the samples without current", s: with(s, func(o *rig.Series) {
			for i := range o.Current {
				if i%2 == 0 {
					o.Current[i], o.Supply[i] = math.NaN(), math.NaN()
				}
			}
		}), sound: true},
		{name: "a hole in the joint angle", s: with(s, func(o *rig.Series) { fill(o.Angle[3000:4000], math.NaN()) }), sound: true},
		{name: "a tenth of the angles missing", s: with(s, func(o *rig.Series) {
			for i := range o.Angle {
				if i%10 == 3 {
					o.Angle[i] = math.NaN()
				}
			}
		}), sound: true},
		{name: "nothing but command and angle", s: &rig.Series{Time: s.Time, Command: s.Command, Angle: s.Angle}, sound: true},
		{name: "no load", s: s, j: func(j *rig.Joint) { j.Load = nil }, sound: true},
		{name: "a load of nothing", s: s, j: func(j *rig.Joint) { j.Load = &rig.Load{} }, sound: true},
		{name: "a joint of nothing", s: s, j: func(j *rig.Joint) { *j = rig.Joint{Name: "knee"} }, sound: true},
		{name: "no ratings", s: s, j: func(j *rig.Joint) { j.Servo = rig.Servo{} }, sound: true},
		{name: "no limits", s: s, j: func(j *rig.Joint) { j.Limits = nil }, sound: true},
		{name: "ten samples a second", s: pick(s, func(i int) bool { return i%25 == 0 }), sound: true},
		{name: "zero current", s: with(s, func(o *rig.Series) { fill(o.Current, 0) }), sound: true},
		{name: "dead joint angle", s: with(s, func(o *rig.Series) { fill(o.Angle, 0) })},
		{name: "infinite current", s: with(s, func(o *rig.Series) { o.Current[500] = math.Inf(1) })},
		{name: "infinite angle", s: with(s, func(o *rig.Series) { o.Angle[500] = math.Inf(-1) })},
		{name: "huge angles", s: with(s, func(o *rig.Series) { fill(o.Angle[1000:1010], 1e300) })},
		{name: "angles upside down", s: with(s, func(o *rig.Series) { negate(o.Angle) })},
	} {
		t.Run(c.name, func(t *testing.T) {
			joint := j
			if c.j != nil {
				c.j(&joint)
			}
			h := run(t, c.s, joint)
			if c.sound && (len(h.Findings) != 1 || h.Findings[0].Cause != health.None) {
				t.Errorf("findings %v, evidence %q", causes(h), h.Findings[0].Evidence)
			}
			if !c.sound && len(h.Findings) == 1 && h.Findings[0].Cause == health.None {
				t.Logf("no finding")
			}
		})
	}
}

// What no joint can do is the sensor's fault, and nothing else is concluded; what looks odd but may
// be is none.
func TestSensorFaults(t *testing.T) {
	s, j := sound()
	spikes := func(n int) *rig.Series {
		return with(s, func(o *rig.Series) {
			for i := range n {
				o.Angle[2000+500*i] += 40
			}
		})
	}
	for _, c := range []struct {
		name  string
		s     *rig.Series
		fault bool
	}{
		{"two spikes", spikes(2), false},
		{"three spikes", spikes(3), true},
		{"joint angle frozen in a ramp", with(s, func(o *rig.Series) {
			n := len(o.Angle)
			fill(o.Angle[n-3000:n-2000], o.Angle[n-3000])
		}), true},
		{"joint angle frozen for half a second", with(s, func(o *rig.Series) {
			n := len(o.Angle)
			fill(o.Angle[n-3000:n-2900], o.Angle[n-3000])
		}), false},
		{"motor angle scatters at rest", with(s, func(o *rig.Series) {
			for i := range o.Motor {
				o.Motor[i] += 1.5 * math.Mod(float64(i)*0.618034, 1)
			}
		}), true},
		{"a joint that stands still where it is told to", with(s, func(o *rig.Series) {
			fill(o.Command, 20)
			fill(o.Angle, 20)
			fill(o.Motor, 20)
		}), false},
	} {
		h := run(t, c.s, j)
		if got := h.Findings[0].Cause == health.SensorFault; got != c.fault {
			t.Errorf("%s: findings %v, evidence %q", c.name, causes(h), h.Findings[0].Evidence)
		}
		if c.fault && len(h.Findings) > 1 {
			t.Errorf("%s: more is concluded from a broken sensor: %v", c.name, causes(h))
		}
	}
}

// No series, however senseless, makes the analysis panic or break its form.
func TestAnySeries(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(50, 400).Draw(t, "n")
		level := rapid.SampledFrom([]float64{0, 0, 10, -10, 25, 60, math.NaN()})
		any := rapid.OneOf(level, rapid.Float64Range(-100, 100))
		column := func(name string, g *rapid.Generator[float64]) []float64 {
			if !rapid.Bool().Draw(t, name) {
				return nil
			}
			return stretched(t, name, n, g)
		}
		s := &rig.Series{Joint: "knee", Command: stretched(t, "command", n, level), Angle: stretched(t, "angle", n, any),
			Motor: column("motor", any), Current: column("current", rapid.Float64Range(0, 3)), Supply: column("supply", rapid.Float64Range(0, 8)),
			Torque: column("torque", rapid.Float64Range(-1, 1))}
		dt := rapid.SampledFrom([]float64{0.004, 0.02, 0.1, 1}).Draw(t, "dt")
		at := rapid.Float64Range(-1e6, 1e6).Draw(t, "start")
		for range n {
			at += dt * rapid.SampledFrom([]float64{1, 1, 1, 1, 1.3, 0.7, 40}).Draw(t, "spacing")
			s.Time = append(s.Time, at)
		}
		if rapid.Bool().Draw(t, "marked") {
			for range n {
				s.Move = append(s.Move, rig.MoveKind(rapid.IntRange(0, 7).Draw(t, "mark")))
			}
		}
		_, j := sound()
		if rapid.Bool().Draw(t, "direct") {
			j.Belt = nil
		}
		if rapid.Bool().Draw(t, "unloaded") {
			j.Load = nil
		}
		if rapid.Bool().Draw(t, "unrated") {
			j.Servo.Rated = nil
		}
		h, err := analyze.Run(s, j)
		if err == nil {
			checkForm(t, h)
		}
	})
}

// stretched draws a column whose values stay for a while, as angles do.
func stretched(t *rapid.T, name string, n int, g *rapid.Generator[float64]) []float64 {
	var out []float64
	for len(out) < n {
		v, stay := g.Draw(t, name), rapid.SampledFrom([]int{1, 1, 3, 60, 200}).Draw(t, name+" stays")
		for range min(stay, n-len(out)) {
			out = append(out, v)
		}
	}
	return out
}

// BenchmarkRun tells how many samples a second the whole analysis takes.
func BenchmarkRun(b *testing.B) {
	s, j := sound()
	for b.Loop() {
		if _, err := analyze.Run(s, j); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(s.Len())*float64(b.N)/b.Elapsed().Seconds(), "samples/s")
}
