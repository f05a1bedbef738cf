package drive

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/analyze/internal/ref"
	"limbgauge/analyze/stats"
)

func TestSupplyLineExact(t *testing.T) {
	var v, a []float64
	for i := range 200 {
		x := 2.4 * float64(i%40) / 39
		v, a = append(v, 6-.2*x), append(a, x)
	}
	v[7] = math.NaN() // a sample that was not measured
	s, err := SupplyLine(v, a, 0)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "V_oc", s.NoLoadV.Value, 6, 1e-9, "as made")
	ref.Near(t, "R_s", s.SourceOhm.Value, .2, 1e-9, "as made")
	ref.Near(t, "sag", s.Sag.Value, .2*2.4*38/39, 1e-9, "0.2 Ω times the second highest current: a single reading does not count")
	if !s.AtLeast {
		t.Error("samples miss short dips, so the sag is at least what was seen")
	}
}

// With noise on both readings the intervals hold the truth about as often as they say.
func TestSupplyLineNoise(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	const runs = 200
	inside := 0
	for range runs {
		var v, a []float64
		for i := range 400 {
			x := .1 + 1.5*math.Abs(math.Sin(float64(i)/40))
			v, a = append(v, 6-.15*x+.01*rng.NormFloat64()), append(a, x)
		}
		s, err := SupplyLine(v, a, 0)
		if err != nil {
			t.Fatal(err)
		}
		if !s.SourceOhm.Excludes(.15) {
			inside++
		}
	}
	ref.Near(t, "coverage of R_s", float64(inside)/runs, .95, .05, "nominal 95 %")
}

func TestSupplyLineUnseen(t *testing.T) {
	v, a := make([]float64, 50), make([]float64, 50)
	for i := range v {
		v[i], a[i] = 6, .1
	}
	s, err := SupplyLine(v, a, 0)
	if err != nil {
		t.Fatal(err)
	}
	if s.SourceOhm.Seen() || s.Reason == "" {
		t.Errorf("a source resistance of %g without any change of current", s.SourceOhm.Value)
	}
	ref.Near(t, "V_oc", s.NoLoadV.Value, 6, 1e-12, "the voltage seen")
	if _, err := SupplyLine(v[:5], a[:5], 0); !errors.Is(err, stats.ErrTooFew) {
		t.Errorf("five samples: %v", err)
	}
}

func TestSteady(t *testing.T) {
	var tm, angle, amps []float64
	for i := range 500 {
		s := .002 * float64(i)
		tm, angle = append(tm, s), append(angle, 100*s*s+50*s) // not a line at all outside
		if s >= .2 && s <= .8-1e-9 {
			angle[i] = 30 + 200*s
		}
		amps = append(amps, .5+.1*float64(i%2))
	}
	f, err := Steady(tm, angle, amps, .2)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "speed", f.Speed.Value, 200, 1e-9, "as made")
	ref.Near(t, "current", f.Current.Value, .55, 1e-3, "mean of 0.5 and 0.6")
	ref.Near(t, "its standard error", f.Current.U, .05/math.Sqrt(300), 1e-4, "s/√n")
	if _, err := Steady(tm[:100], angle[:100], amps[:100], .2); !errors.Is(err, stats.ErrTooFew) {
		t.Errorf("a run of 0.2 s has no steady part: %v", err)
	}
	if f, err := Steady(tm, angle, nil, .2); err != nil || f.Current.Seen() {
		t.Errorf("without current: %+v, %v", f.Current, err)
	}
}
