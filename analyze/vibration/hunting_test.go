package vibration

import (
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/internal/ref"
)

// rests makes dwells of 1.2 s at 250 Hz, 12 bit, with reading noise, a little settling, and an
// oscillation of amp deg at hz.
func rests(n int, amp, hz float64, rng *rand.Rand) []Dwell {
	var out []Dwell
	for range n {
		var d Dwell
		ph, at := 2*math.Pi*rng.Float64(), 60*rng.Float64()
		for i := range 300 {
			s := float64(i) / 250
			a := at - .15*math.Exp(-s/.3) + amp*math.Sin(2*math.Pi*hz*s+ph) + .04*rng.NormFloat64()
			d.Time, d.Angle = append(d.Time, s), append(d.Angle, twelveBit*math.Round(a/twelveBit))
		}
		out = append(out, d)
	}
	return out
}

func TestHunting(t *testing.T) {
	rng := rand.New(rand.NewPCG(61, 61))
	for _, row := range []struct{ amp, hz float64 }{{.3, 4.3}, {1, 11}, {.2, 15}} {
		h := FindHunting(rests(12, row.amp, row.hz, rng), DefaultHuntingRule(twelveBit))
		if !h.Found || h.Hunting < 10 {
			t.Fatalf("%+v", h)
		}
		ref.Near(t, "frequency", h.Hz.Value, row.hz, .15, "as made")
		ref.Near(t, "amplitude", h.Amplitude.Value, row.amp, .03, "as made")
	}
}

func TestNoHunting(t *testing.T) {
	rng := rand.New(rand.NewPCG(62, 62))
	if h := FindHunting(rests(60, 0, 5, rng), DefaultHuntingRule(twelveBit)); h.Found || h.Hunting > 0 || h.Dwells != 60 {
		t.Errorf("still joint: %+v", h)
	}
	// Ringing dies away; it is no hunting however large it starts.
	var ring []Dwell
	for _, d := range rests(20, 0, 5, rng) {
		for i, s := range d.Time {
			d.Angle[i] += 2 * math.Exp(-s/.15) * math.Cos(2*math.Pi*8*s)
		}
		ring = append(ring, d)
	}
	if h := FindHunting(ring, DefaultHuntingRule(twelveBit)); h.Found {
		t.Errorf("ringing: %+v", h)
	}
	// Any sine fits noise a little: what it explains must be more than that.
	noisy := rests(20, 0, 5, rng)
	for _, d := range noisy {
		for i := range d.Angle {
			d.Angle[i] += rng.NormFloat64()
		}
	}
	if h := FindHunting(noisy, DefaultHuntingRule(twelveBit)); h.Hunting > 0 {
		t.Errorf("noise of 1 deg: %+v", h)
	}
	// A last digit that toggles slowly is the reading, not the joint.
	var toggle []Dwell
	for _, d := range rests(20, 0, 5, rng) {
		for i := range d.Angle {
			d.Angle[i] = twelveBit * math.Round(100+.5+.3*math.Sin(float64(i)/9))
		}
		toggle = append(toggle, d)
	}
	if h := FindHunting(toggle, DefaultHuntingRule(twelveBit)); h.Found {
		t.Errorf("toggling digit: %+v", h)
	}
}

func TestHuntingUnseen(t *testing.T) {
	rng := rand.New(rand.NewPCG(63, 63))
	d := rests(3, 1, 5, rng)
	for i := range d {
		d[i].Time, d[i].Angle = d[i].Time[:15], d[i].Angle[:15]
	}
	if h := FindHunting(d, DefaultHuntingRule(twelveBit)); h.Found || h.Reason == "" || h.Hz.Seen() {
		t.Errorf("dwells of 60 ms: %+v, want a reason", h)
	}
}

// A dwell whose scatter is too small for an oscillation is passed over unseen: no fit may say more than
// the bound, whatever stands beside the sine.
func TestNoFittedSineIsGreaterThanTheBound(t *testing.T) {
	rnd := rand.New(rand.NewPCG(5, 6))
	for range 400 {
		n := 60 + rnd.IntN(400)
		hz := periods * (1 + 4*rnd.Float64())
		phase, bend, tilt, noise := 2*math.Pi*rnd.Float64(), rnd.NormFloat64(), rnd.NormFloat64(), 0.3*rnd.Float64()
		d := Dwell{Time: make([]float64, n), Angle: make([]float64, n)}
		for i := range n {
			x := float64(i) / float64(n-1)
			d.Time[i], d.Angle[i] = x, math.Sin(2*math.Pi*hz*x+phase)+tilt*x+bend*x*x+noise*rnd.NormFloat64()
		}
		for _, at := range []float64{hz, periods, 5 * periods} {
			if a, _ := newSineFit(d).at(at); a > mostAmplitude(d.Angle) {
				t.Errorf("%g periods: amplitude %.3f is above the bound %.3f", at, a, mostAmplitude(d.Angle))
			}
		}
	}
}
