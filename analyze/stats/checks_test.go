package stats

import (
	"math"
	"testing"

	"limbgauge/analyze/internal/ref"
)

// Check 8a: resistance, reactance and impedance from five sets of simultaneous readings. Each set is
// turned into a result, so that what the readings share stays in (JCGM 100:2008, H.2.4, second way).
func TestGUMImpedance(t *testing.T) {
	volts := []float64{5.007, 4.994, 5.005, 4.990, 4.999}
	milliamps := []float64{19.663, 19.639, 19.640, 19.685, 19.678}
	phase := []float64{1.0456, 1.0438, 1.0468, 1.0428, 1.0433}
	r, x, z := make([]float64, 5), make([]float64, 5), make([]float64, 5)
	for i := range volts {
		z[i] = 1000 * volts[i] / milliamps[i]
		r[i], x[i] = z[i]*math.Cos(phase[i]), z[i]*math.Sin(phase[i])
	}
	const gum = "JCGM 100:2008, H.2, tables H.3 and H.4"
	for _, row := range []struct {
		name    string
		got     Estimate
		want, u float64
	}{
		{"V", MeanOf(volts), 4.9990, .0032}, {"I", MeanOf(milliamps), 19.6610, .0095}, {"φ", MeanOf(phase), 1.04446, .00075},
		{"R", MeanOf(r), 127.732, .071}, {"X", MeanOf(x), 219.847, .296}, {"Z", MeanOf(z), 254.260, .236},
	} {
		ref.Near(t, row.name, row.got.Value, row.want, .001, gum)
		ref.Near(t, "u("+row.name+")", row.got.U, row.u, .001, gum)
	}
	// The correlation of two means, from the uncertainty of their sum: u²(a+b) = u²(a) + u²(b) + 2·r·u(a)·u(b).
	correlation := func(a, b []float64) float64 {
		both := make([]float64, len(a))
		for i := range a {
			both[i] = a[i] + b[i]
		}
		ua, ub, u := MeanOf(a).U, MeanOf(b).U, MeanOf(both).U
		return (u*u - ua*ua - ub*ub) / (2 * ua * ub)
	}
	for _, row := range []struct {
		name string
		got  float64
		want float64
		tol  float64
	}{
		{"r(V, I)", correlation(volts, milliamps), -.36, .005}, {"r(V, φ)", correlation(volts, phase), .86, .005},
		{"r(I, φ)", correlation(milliamps, phase), -.65, .005},
		{"r(R, X)", correlation(r, x), -.588, .001}, {"r(R, Z)", correlation(r, z), -.485, .001}, {"r(X, Z)", correlation(x, z), .993, .001},
	} {
		ref.Near(t, row.name, row.got, row.want, row.tol, gum)
	}
}

// Check 8c: what form errors an angle sensor of two channels makes. The true angle of the model
// goes through the faulty channels, and the error is taken apart into its harmonics.
func TestFormErrorsOfAnAngleSensor(t *testing.T) {
	const n, deg = 360, 180 / math.Pi
	harmonics := func(read func(th float64) (sin, cos float64)) (mean, one, two, peak float64) {
		cols, e := make([][]float64, 5), make([]float64, n)
		for i := range n {
			th := 2 * math.Pi * float64(i) / n
			s, c := read(th)
			e[i] = deg * math.Remainder(math.Atan2(s, c)-th, 2*math.Pi)
			peak = math.Max(peak, math.Abs(e[i]))
			for j, v := range []float64{1, math.Cos(th), math.Sin(th), math.Cos(2 * th), math.Sin(2 * th)} {
				cols[j] = append(cols[j], v)
			}
		}
		f, err := OLS(cols, e)
		if err != nil {
			t.Fatal(err)
		}
		return f.Coef[0], math.Hypot(f.Coef[1], f.Coef[2]), math.Hypot(f.Coef[3], f.Coef[4]), peak
	}
	_, one, _, _ := harmonics(func(th float64) (float64, float64) { return math.Sin(th) + .01, math.Cos(th) })
	ref.Near(t, "offset of one channel by 1 %", one, .57296, 1e-5, "0.01 rad, first harmonic")
	_, _, two, _ := harmonics(func(th float64) (float64, float64) { return 1.01 * math.Sin(th), math.Cos(th) })
	ref.Near(t, "gain of one channel by 1 %", two, .28505, 1e-5, "g/(2 + g) rad, second harmonic")
	mean, _, two, peak := harmonics(func(th float64) (float64, float64) { return math.Sin(th + 1/deg), math.Cos(th) })
	ref.Near(t, "skew of 1 deg, mean", mean, .5, 1e-4, "half the skew")
	ref.Near(t, "skew of 1 deg", two, .50001, 1e-5, "half the skew, second harmonic")
	ref.Near(t, "skew of 1 deg, peak", peak, 1, 1e-3, "mean and harmonic together")
	// A track of radius 12.5 read from a centre 0.1 off it.
	_, one, _, _ = harmonics(func(th float64) (float64, float64) { return 12.5*math.Sin(th) + .1, 12.5 * math.Cos(th) })
	ref.Near(t, "off-centre track", one, .45837, 1e-5, "e/r rad, first harmonic")
}

// Check 8d, the clock: 50 ppm over 600 s are 30 ms, 6 deg at 200 deg/s; heartbeats show it. The other
// half of the check, 10 µV on 0.1 Ω, is the stand's hardware and has no computation here.
func TestClockThatRunsFast(t *testing.T) {
	var device, host []float64
	for i := range 61 {
		device, host = append(device, 10*float64(i)), append(host, 3+10*float64(i)*(1+50e-6))
	}
	l, err := FitLine(device, host)
	if err != nil {
		t.Fatal(err)
	}
	late := l.At(600).Value - l.Intercept.Value - 600
	ref.Near(t, "after 600 s", late, .03, 1e-9, "50e-6·600")
	ref.Near(t, "as an angle at 200 deg/s", 200*late, 6, 1e-6, "v·δt")
}
