package calibrate_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"limbgauge/analyze/calibrate"
	"limbgauge/analyze/internal/ref"
	"limbgauge/analyze/stats"
	"limbgauge/rig"
)

func points(reference, reading []float64) []rig.CalibrationPoint {
	var out []rig.CalibrationPoint
	for i := range reference {
		out = append(out, rig.CalibrationPoint{Reference: reference[i], Reading: reading[i]})
	}
	return out
}

// wide is what a standard uncertainty of few degrees of freedom is widened by here; dividing by it
// gives the figure a source states.
func wide(df float64) float64 { return stats.T95(df) / stats.T95(math.Inf(1)) }

// JCGM 100:2008, H.3: calibration of a thermometer, eleven readings t with corrections b; t0 = 20 °C.
func TestThermometer(t *testing.T) {
	const from = "JCGM 100:2008, H.3, tables H.6 and H.7"
	reading := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	b := []float64{-.171, -.169, -.166, -.159, -.164, -.165, -.156, -.157, -.159, -.161, -.160}
	reference := make([]float64, len(b))
	for i := range b {
		reference[i] = reading[i] + b[i]
	}
	c, _, err := calibrate.Correct(points(reference, reading), calibrate.Options{Unit: "°C"})
	if err != nil {
		t.Fatal(err)
	}
	if c.Model != rig.ModelLine {
		t.Errorf("a %s was taken, the source takes a line", c.Model)
	}
	ref.Near(t, "correction at 20", c.Apply(20)-20, -0.1712, 0.5e-4, from)
	ref.Near(t, "slope", c.Scale, 0.00218, 0.5e-5, from)
	ref.Near(t, "s", c.ResidualSD, 0.0035, 0.5e-4, from)
	ref.Near(t, "correction at 30", c.Apply(30)-30, -0.1494, 0.5e-4, from)
	w := wide(9)
	// Zero stands at the mean reading, where zero and slope are uncorrelated.
	u := func(at float64) float64 { return math.Hypot(c.ZeroU, (at-c.At)*c.ScaleU) / w }
	ref.Near(t, "u at 20", u(20), 0.0029, 0.5e-4, from)
	ref.Near(t, "u of slope", c.ScaleU/w, 0.00067, 0.5e-5, from)
	ref.Near(t, "u at 30", u(30), 0.0041, 0.5e-4, from)
}

// strd reads the (y, x) pairs of a reference set and its certified lines.
func strd(t *testing.T, name string, first int) (y, x []float64) {
	for _, line := range strings.Split(string(ref.File(t, "nist_strd/linear/"+name+".dat")), "\n")[first-1:] {
		f := strings.Fields(line)
		if len(f) != 2 {
			continue
		}
		a, err := strconv.ParseFloat(f[0], 64)
		if err != nil {
			t.Fatal(err)
		}
		b, err := strconv.ParseFloat(f[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		y, x = append(y, a), append(x, b)
	}
	return y, x
}

// NIST StRD Norris: calibration of ozone monitors. Constants are kept to nine digits.
func TestNorris(t *testing.T) {
	const from = "NIST StRD Norris, certified"
	y, x := strd(t, "Norris", 61)
	if len(y) != 36 {
		t.Fatalf("%d pairs, want 36", len(y))
	}
	c, _, err := calibrate.Correct(points(y, x), calibrate.Options{Unit: "1"})
	if err != nil {
		t.Fatal(err)
	}
	if c.Model != rig.ModelLine || c.Freedom != 34 {
		t.Errorf("model %s with %d degrees of freedom, want a line with 34", c.Model, c.Freedom)
	}
	ref.Near(t, "B1", 1+c.Scale, 1.00211681802045, 1e-11, from)
	ref.Near(t, "B0", c.Zero-c.Scale*c.At, -0.262323073774029, 1e-8, from)
	ref.Near(t, "sd of B1", c.ScaleU/wide(34), 0.000429796848199937, 1e-12, from)
	ref.Near(t, "residual sd", c.ResidualSD, 0.884796396144373, 1e-9, from)
}

// NIST StRD Pontius: calibration of a load cell, quadratic; load and deflection are brought to one
// scale first, as a correction wants them. That a square is needed, and no cube, is to be found out.
func TestPontius(t *testing.T) {
	const from = "NIST StRD Pontius, certified"
	const k = 7.3e-7
	y, x := strd(t, "Pontius", 61)
	if len(y) != 40 {
		t.Fatalf("%d pairs, want 40", len(y))
	}
	for i := range x {
		x[i] *= k
	}
	c, notes, err := calibrate.Correct(points(y, x), calibrate.Options{Unit: "1"})
	if err != nil {
		t.Fatal(err)
	}
	if c.Model != rig.ModelCurve || c.Cube != 0 || len(notes) == 0 {
		t.Errorf("%s with cube %g (%v), want a curve with a square only, and word of it", c.Model, c.Cube, notes)
	}
	ref.Near(t, "B2", c.Square*k*k, -0.316081871345029e-14, 1e-23, from)
	ref.Near(t, "B1", k*(1+c.Scale-2*c.Square*c.At), 0.732059160401003e-6, 1e-15, from)
	ref.Near(t, "B0", c.Zero-c.Scale*c.At+c.Square*c.At*c.At, 0.673565789473684e-3, 1e-9, from)
	ref.Near(t, "residual sd", c.ResidualSD, 0.205177424076185e-3, 1e-12, from)
}

// What an angle sensor with one thing wrong with its two channels shows, over a whole turn. Sizes by
// Fourier analysis of atan2 of the channels (derived; the same figures to first order: o, g/2, φ/2, e/r).
func TestWavesOfATurn(t *testing.T) {
	for _, test := range []struct {
		name     string
		channels func(s, c float64) (float64, float64)
		wave     int
		size     float64
	}{
		{"offset of 1 %", func(s, c float64) (float64, float64) { return s, c + 0.01 }, 1, 0.57296},
		{"gain of 1 %", func(s, c float64) (float64, float64) { return 1.01 * s, c }, 2, 0.28505},
		{"skew of 1 deg", func(s, c float64) (float64, float64) {
			k := math.Pi / 180
			return s*math.Cos(k) + c*math.Sin(k), c
		}, 2, 0.50001},
	} {
		var reference, reading []float64
		for deg := -180.0; deg < 180; deg += 15 {
			s, c := math.Sincos(deg * math.Pi / 180)
			r := math.Atan2(test.channels(s, c)) * 180 / math.Pi
			if r-deg > 180 {
				r -= 360
			}
			reference, reading = append(reference, deg), append(reading, r)
		}
		c, _, err := calibrate.Correct(points(reference, reading), calibrate.Options{Unit: "deg", Angle: true})
		if err != nil {
			t.Fatal(test.name, err)
		}
		if c.Model != rig.ModelWaves {
			t.Errorf("%s: a %s was taken", test.name, c.Model)
		}
		size, _ := calibrate.Wave(&c, test.wave)
		ref.Near(t, test.name, size, test.size, 0.003, "methods, encoder form errors (derived)")
		for _, p := range c.Points {
			if math.Abs(p.Residual) > 0.01 {
				t.Errorf("%s: %.3f deg is left at %g", test.name, p.Residual, p.Reference)
			}
		}
	}
}

// An off-centre track: e = 0.1 mm at r = 12.5 mm is a first wave of e/r = 0.45837 deg (derived).
func TestOffCentreTrackWithScaleError(t *testing.T) {
	wave := 0.1 / 12.5 * 180 / math.Pi
	var reference, reading []float64
	for deg := -150.0; deg <= 150; deg += 20 {
		reading = append(reading, deg)
		reference = append(reference, deg+1.5+0.02*deg+wave*math.Sin((deg+40)*math.Pi/180))
	}
	c, _, err := calibrate.Correct(points(reference, reading), calibrate.Options{Unit: "deg", Angle: true})
	if err != nil {
		t.Fatal(err)
	}
	size, phase := calibrate.Wave(&c, 1)
	ref.Near(t, "wave", size, 0.45837, 1e-5, "e/r (derived)")
	ref.Near(t, "phase", phase, 40, 1e-3, "put in")
	ref.Near(t, "scale", c.Scale, 0.02, 1e-7, "put in")
	ref.Near(t, "at 90", c.Apply(90), 90+1.5+1.8+wave*math.Sin(130*math.Pi/180), 1e-5, "put in")
}

// A shunt of 0.1 ohm with 10 µV of offset reads 0.1 mA too much (derived): a reading with the servo
// unplugged shows it, and only a second current shows the gain.
func TestShunt(t *testing.T) {
	ref.Near(t, "offset", calibrate.OhmA(10e-6, 0.1), 1e-4, 1e-12, "Ohm's law")
	reading := func(a float64) float64 { return calibrate.OhmA(a*0.1*1.03+10e-6, 0.1) } // resistor 3 % off
	zero, notes, err := calibrate.Correct(points([]float64{0}, []float64{reading(0)}), calibrate.Options{Unit: "A", Model: rig.ModelZero})
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "zero", zero.Zero, -1e-4, 1e-10, "10 µV over 0.1 ohm")
	if !math.IsNaN(zero.ScaleU) || !math.IsNaN(zero.FormU) || len(notes) == 0 {
		t.Errorf("one reading tells nothing of gain, but: %+v, %v", zero, notes)
	}
	c, _, err := calibrate.Correct(points([]float64{0, 0.5, 1, 2}, []float64{reading(0), reading(0.5), reading(1), reading(2)}), calibrate.Options{Unit: "A"})
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "true current", c.Apply(reading(1.3)), 1.3, 1e-8, "put in")
	ref.Near(t, "gain", c.Scale, 1/1.03-1, 1e-8, "put in")
}

// Intervals must hold the truth: 95 % of them, with few points and noise on the readings.
func TestCoverage(t *testing.T) {
	const trials = 400
	rnd := rand.New(rand.NewPCG(7, 11))
	zero, scale := 0, 0
	for range trials {
		z, k := 4*rnd.NormFloat64(), 0.05*rnd.NormFloat64()
		var reference, reading []float64
		for _, deg := range []float64{-60, -30, 0, 30, 60} {
			reference = append(reference, deg)
			reading = append(reading, (deg-z)/(1+k)+0.05*rnd.NormFloat64())
		}
		c, _, err := calibrate.Correct(points(reference, reading), calibrate.Options{Unit: "deg", Angle: true, Model: rig.ModelLine})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(c.Scale-k) <= 1.96*c.ScaleU {
			scale++
		}
		if math.Abs(c.Apply(c.At)-(z+(1+k)*c.At)) <= 1.96*c.ZeroU {
			zero++
		}
	}
	// 400 draws of a 95 % event lie between 0.92 and 0.98 with 99 %.
	for name, n := range map[string]int{"zero": zero, "scale": scale} {
		if share := float64(n) / trials; share < 0.92 || share > 0.98 {
			t.Errorf("%s: %.3f of the intervals hold the truth, want 0.95", name, share)
		}
	}
}

// A jig that is only good within 0.3 deg leaves that doubt, however well the points lie on a line.
func TestReferenceDoubtStays(t *testing.T) {
	c, _, err := calibrate.Correct(points([]float64{-40, 0, 40}, []float64{-40, 0, 40}), calibrate.Options{Unit: "deg", Angle: true, Within: 0.3})
	if err != nil {
		t.Fatal(err)
	}
	u := 0.3 / math.Sqrt(3)
	ref.Near(t, "zero", c.ZeroU, u, 1e-6, "rectangular, JCGM 100:2008, 4.3.7")
	ref.Near(t, "scale", c.ScaleU, u*math.Sqrt2/80, 1e-6, "two ends of the jig")
	ref.Near(t, "form", c.FormU, u, 1e-6, "rectangular")
}

func TestPointsThatDoNotShowIt(t *testing.T) {
	ten := []float64{-50, -40, -30, -20, -10, 0, 10, 20, 30, 40}
	for _, test := range []struct {
		name               string
		reference, reading []float64
		o                  calibrate.Options
		says               string
	}{
		{"none", nil, nil, calibrate.Options{Unit: "deg"}, "there are none"},
		{"one place", []float64{30, 30, 30}, []float64{29, 29.1, 29.2}, calibrate.Options{Unit: "deg"}, "all 3 lie at 30 deg"},
		{"reversed", []float64{-30, 0, 30}, []float64{30, 0, -30}, calibrate.Options{Unit: "deg"}, "sense of the sensor"},
		{"standing", []float64{-30, 0, 30}, []float64{5.01, 5, 5.02}, calibrate.Options{Unit: "deg"}, "see the reference at all"},
		{"radians", []float64{-30, 0, 30}, []float64{-0.524, 0, 0.524}, calibrate.Options{Unit: "deg"}, "are both in deg"},
		{"milliampere", []float64{0, 0.5, 1}, []float64{0, 500, 1000}, calibrate.Options{Unit: "A"}, "1000 mA"},
		{"not monotonic", []float64{-30, -10, 10, 30}, []float64{-30, 12, -9, 30}, calibrate.Options{Unit: "deg"}, "from -10 to 10 deg the reading falls"},
		{"wrapped", []float64{-170, -60, 60, 170}, []float64{-160, -50, 70, -179}, calibrate.Options{Unit: "deg", Angle: true}, "past its full turn"},
		{"part of a turn", ten, ten, calibrate.Options{Unit: "deg", Angle: true, Model: rig.ModelWaves}, "cover 90 deg of a turn"},
		{"few of a turn", []float64{-150, -75, 0, 75, 150}, []float64{-150, -75, 0, 75, 150}, calibrate.Options{Unit: "deg", Angle: true, Model: rig.ModelWaves}, "need 8 different readings"},
		{"gap in the turn", []float64{-150, -140, -130, -120, 100, 120, 140, 150}, []float64{-150, -140, -130, -120, 100, 120, 140, 150}, calibrate.Options{Unit: "deg", Angle: true, Model: rig.ModelWaves}, "there is no reading"},
		{"curve through three", []float64{-30, 0, 30}, []float64{-30, 0, 30}, calibrate.Options{Unit: "deg", Angle: true, Model: rig.ModelCurve}, "a curve needs 6"},
		{"no number", []float64{0, 1}, []float64{0, math.NaN()}, calibrate.Options{Unit: "V"}, "no number"},
	} {
		_, _, err := calibrate.Correct(points(test.reference, test.reading), test.o)
		if !errors.Is(err, calibrate.ErrPoints) || !strings.Contains(err.Error(), test.says) {
			t.Errorf("%s: %v, want %q", test.name, err, test.says)
		}
	}
}

// Two points make a line and leave nothing to check it by; nothing is claimed of the form.
func TestTwoPoints(t *testing.T) {
	c, notes, err := calibrate.Correct(points([]float64{-30, 30}, []float64{-28, 33}), calibrate.Options{Unit: "deg", Angle: true})
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "true", c.Apply(2.5), 0, 1e-6, "halfway")
	if !math.IsNaN(c.FormU) || !math.IsNaN(c.ResidualSD) || !math.IsNaN(c.ZeroU) || len(notes) == 0 {
		t.Errorf("%+v %v: nothing is known of scatter", c, notes)
	}
}

// A sensor with waves at five places: a line is all that can be fitted, and it is said that it does not hold.
func TestLineThatDoesNotHold(t *testing.T) {
	var reference, reading []float64
	for deg := -60.0; deg <= 60; deg += 30 {
		reference, reading = append(reference, deg), append(reading, deg+2*math.Sin((deg+50)*math.Pi/180))
	}
	c, notes, err := calibrate.Correct(points(reference, reading), calibrate.Options{Unit: "deg", Angle: true, Within: 0.05})
	if err != nil || c.Model != rig.ModelLine || !strings.Contains(strings.Join(notes, " "), "does not follow a line") {
		t.Errorf("%s, %v, %v", c.Model, notes, err)
	}
	for i, p := range points(reference, reading) {
		if d := math.Abs(c.Points[i].Residual); d > 2*c.FormU {
			t.Errorf("at %g %.2f deg is left, and only %.2f doubted", p.Reference, d, 2*c.FormU)
		}
	}
}

func TestOutlierIsNamed(t *testing.T) {
	reference := []float64{-50, -40, -30, -20, -10, 0, 10, 20, 30, 40}
	reading := []float64{-50.01, -40, -29.99, -20.01, -10, 0.01, 13, 20, 29.99, 40.01}
	_, notes, err := calibrate.Correct(points(reference, reading), calibrate.Options{Unit: "deg", Angle: true, Model: rig.ModelLine})
	if err != nil || !strings.Contains(strings.Join(notes, " "), "Point 7 ") {
		t.Errorf("%v %v: the point that was read wrong is not named", notes, err)
	}
}
