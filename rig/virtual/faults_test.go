package virtual

import (
	"math"
	"testing"

	"limbgauge/rig"
)

// figures are rough and direct readings of a run, to see that a fault is there. They are no analysis.
type figures struct {
	reversal  float64 // deg, least minus greatest transmission deflection about the hanging pose
	servo     float64 // deg, the same of the servo
	slope     float64 // deg/N·m of the transmission, from stops at ±60 deg
	outer     float64 // deg/N·m between stops at 30 and 60 deg
	step      float64 // deg, last settled transmission offset less the first
	creep     float64 // deg, growth in the hold
	sag       float64 // V
	lifting   float64 // A, mean current on both sides of -30 deg, lifting
	restless  float64 // deg, spread of the joint at a loaded stop
	jumps     int     // single readings more than 10 deg off
	frozen    bool    // the last 1000 readings are one
	spot      float64 // A, mean current about -30 deg less that on both sides, lifting
	short     float64 // deg, how far the hold stays from its command
	peakShare float64 // greatest load torque as a share of the stall torque
}

func measure(t *testing.T, truth Truth) figures {
	t.Helper()
	// Off-centre magnets would blur these rough readings.
	truth.Sensors.Joint.Wave1Deg, truth.Sensors.Motor.Wave1Deg = 0, 0
	s := play(t, truth, standard())
	var f figures
	load := func(i int) float64 {
		return truth.Load.MassKg * rig.Gravity * truth.Load.LeverM * math.Sin(s.Angle[i]*rad)
	}
	// mean over the last 40 % of each stop's dwell
	type stop struct{ target, trans, servo, load, spread float64 }
	var stops []stop
	for a := 0; a < s.Len(); {
		b := a
		for b < s.Len() && s.Segment[b] == s.Segment[a] {
			b++
		}
		if s.Move[a] == rig.MoveStair {
			var o stop
			n, sq, sum := 0.0, 0.0, 0.0
			for i := b - 60; i < b; i++ {
				o.trans += s.Angle[i] - s.Motor[i]
				o.servo += s.Motor[i] - s.Command[i]
				o.load += load(i)
				sum, sq, n = sum+s.Angle[i], sq+s.Angle[i]*s.Angle[i], n+1
			}
			o.trans, o.servo, o.load, o.target = o.trans/n, o.servo/n, o.load/n, s.Command[b-1]
			o.spread = math.Sqrt(math.Max(0, sq/n-sum*sum/n/n))
			stops = append(stops, o)
		}
		a = b
	}
	at := func(target float64, of func(stop) float64) float64 {
		sum, n := 0.0, 0.0
		for _, o := range stops[:18] { // before anything slips
			if math.Abs(o.target-target) < 1 {
				sum, n = sum+of(o), n+1
			}
		}
		return sum / n
	}
	trans, servo := func(o stop) float64 { return o.trans }, func(o stop) float64 { return o.servo }
	weight := func(o stop) float64 { return o.load }
	f.slope = -(at(60, trans) - at(-60, trans)) / (at(60, weight) - at(-60, weight))
	f.outer = -(at(60, trans) - at(30, trans)) / (at(60, weight) - at(30, weight))
	f.reversal = at(-15, trans) - at(15, trans) - f.outer*(at(15, weight)-at(-15, weight))
	f.servo = at(-15, servo) - at(15, servo)
	f.restless = at(45, func(o stop) float64 { return o.spread })
	f.step = stops[len(stops)-1].trans - stops[0].trans
	var near, off, nn, no float64
	first, last, k := 0.0, 0.0, 0.0
	same := 0
	for i := 1; i < s.Len(); i++ {
		f.sag = math.Max(f.sag, s.Supply[0]-s.Supply[i])
		if math.Abs(s.Angle[i]-s.Angle[i-1]) > 10 {
			f.jumps++
		}
		if same++; s.Angle[i] != s.Angle[i-1] {
			same = 0
		}
		// Against the load only: with it, friction relieves the motor.
		if s.Move[i] == rig.MoveRamp && s.Command[i] < s.Command[i-1] {
			switch d := math.Abs(s.Angle[i] + 30); {
			case d < 5:
				near, nn = near+s.Current[i], nn+1
			case d > 12 && d < 22:
				off, no = off+s.Current[i], no+1
			}
		}
		if s.Move[i] == rig.MoveHold {
			k++
			if d := s.Angle[i] - s.Motor[i]; k > 1000 && k <= 1250 {
				first += d / 250
			} else if k > 5000 && k <= 5250 {
				last += d / 250
				f.short = math.Abs(s.Angle[i] - s.Command[i])
			}
		}
	}
	f.frozen = same > 1000
	f.creep = math.Abs(last - first)
	f.spot = near/nn - off/no
	f.lifting = off / no
	f.peakShare = truth.Load.PeakNm() / (truth.Servo.StallNm * truth.Supply.OpenV / truth.Servo.RatedV)
	return f
}

// Each fault shows in the samples where it should, and a joint without it does not show it.
func TestFaultsShow(t *testing.T) {
	fine := measure(t, Healthy(knee(), 0))
	for _, test := range []struct {
		cause string
		size  float64
		of    func(figures) float64
		fine  [2]float64 // where the figure of a joint without fault lies
		want  [2]float64
	}{
		{"belt_tension_low", 8, func(f figures) float64 { return f.outer }, [2]float64{1.8, 2.3}, [2]float64{2.7, 3.3}},
		{"belt_slack", 0.8, func(f figures) float64 { return f.reversal }, [2]float64{-0.1, 0.15}, [2]float64{0.7, 0.95}},
		{"servo_play", 2, func(f figures) float64 { return f.servo }, [2]float64{0.3, 0.8}, [2]float64{2.2, 2.8}},
		{"excess_compliance", 7, func(f figures) float64 { return f.slope }, [2]float64{1.8, 2.4}, [2]float64{6.8, 7.5}},
		{"creep", 3, func(f figures) float64 { return f.creep }, [2]float64{0, 0.03}, [2]float64{0.3, 1}},
		{"horn_slip", 3, func(f figures) float64 { return math.Abs(f.step) }, [2]float64{0, 0.1}, [2]float64{2.9, 3.1}},
		{"tooth_skip", 1, func(f figures) float64 { return math.Abs(f.step) }, [2]float64{0, 0.1}, [2]float64{17.5, 18.5}},
		{"tight_spot", 0.15, func(f figures) float64 { return f.spot }, [2]float64{-0.06, 0.03}, [2]float64{0.05, 0.3}},
		{"high_friction", 0.15, func(f figures) float64 { return f.lifting }, [2]float64{0.2, 0.4}, [2]float64{0.4, 0.7}},
		{"near_stall", 0.75, func(f figures) float64 { return f.peakShare }, [2]float64{0.1, 0.3}, [2]float64{0.749, 0.751}},
		{"stall", 1.15, func(f figures) float64 { return f.short }, [2]float64{0, 2}, [2]float64{5, 80}},
		{"supply_sag", 1, func(f figures) float64 { return f.sag }, [2]float64{0.1, 0.5}, [2]float64{1, 3.5}},
		{"hunting", 0.8, func(f figures) float64 { return f.restless }, [2]float64{0, 0.06}, [2]float64{0.3, 2}},
		{"sensor_fault", 20, func(f figures) float64 { return float64(f.jumps) }, [2]float64{0, 0}, [2]float64{500, 900}},
		{"sensor_fault", 0, func(f figures) float64 { return map[bool]float64{true: 1}[f.frozen] }, [2]float64{0, 0}, [2]float64{1, 1}},
	} {
		truth, err := WithFault(Healthy(knee(), 0), test.cause, test.size)
		if err != nil {
			t.Fatal(err)
		}
		all := measure(t, truth)
		got, was := test.of(all), test.of(fine)
		if slips := test.cause == "horn_slip" || test.cause == "tooth_skip"; !slips && test.cause != "sensor_fault" && math.Abs(all.step) > 1 {
			t.Errorf("%s: an offset of %.2f deg that nobody put in", test.cause, all.step)
		}
		if was < test.fine[0] || was > test.fine[1] {
			t.Errorf("%s: %.3f without the fault, want %v", test.cause, was, test.fine)
		}
		if got < test.want[0] || got > test.want[1] {
			t.Errorf("%s of %g: %.3f, want %v", test.cause, test.size, got, test.want)
		}
	}
}

// A slack belt skips under a load that a tight one holds, in the direction of the load and by whole teeth.
func TestToothSkipsUnderLoad(t *testing.T) {
	offset := func(tensionN float64) float64 {
		truth, err := WithFault(Healthy(knee(), 0), "near_stall", 0.9)
		if err != nil {
			t.Fatal(err)
		}
		if truth, err = WithFault(truth, "belt_tension_low", tensionN); err != nil {
			t.Fatal(err)
		}
		w := NewWorld([]Truth{truth})
		w.Pulse(0, 1500+70/0.09)
		w.Advance(5e6)
		return w.plants[0].slips.offset / rad
	}
	if got := offset(55); got != 0 {
		t.Errorf("a tight belt skipped %.2f deg", got)
	}
	got := offset(5)
	if teeth := got / 18; teeth > -0.99 || math.Abs(teeth-math.Round(teeth)) > 1e-6 {
		t.Errorf("a loose belt skipped %.3f deg, want whole teeth of 18 deg to smaller angles", got)
	}
}
