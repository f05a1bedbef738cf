package sensor

import (
	"math"

	"limbgauge/analyze/stats"
)

// Form is how the difference of two readings of one angle bends over it.
type Form struct {
	RangeDeg float64
	// Slope is the part that grows with the angle, a share; SlopeU its expanded uncertainty (95 %).
	Slope, SlopeU float64
	// Straight is the share of the scatter that the straight line explains.
	Straight float64
	// First and Second are the amplitudes of one and two waves a turn, deg, with their expanded
	// uncertainties; NaN where the range is too short for them.
	First, FirstU, Second, SecondU float64
}

// waveRangeDeg is the least range over which waves of a turn are told from a slope [common practice].
const waveRangeDeg = 270.0

// FindForm fits dev, deg, over angle, deg: a straight line, and, over 270 deg and more, one and two waves
// a turn, as an off-centre magnet or unlike channels make them (0.01 of offset: 0.57 deg once a turn;
// a track off centre by e at radius r: e/r rad). pull, when not nil, is the load at each angle: what
// gives under a hanging load has one wave a turn too, so of the first wave only the part counts that
// is a quarter turn off the load.
//
// A range under 270 deg shows part of a wave, which a wrong scale makes as well; First and Second are
// then NaN. ok is false for fewer than eight readings or a range under 40 deg.
func FindForm(angle, dev, pull []float64) (f Form, ok bool) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, a := range angle {
		if !math.IsNaN(dev[i]) {
			lo, hi = math.Min(lo, a), math.Max(hi, a)
		}
	}
	f = Form{RangeDeg: hi - lo, First: math.NaN(), FirstU: math.NaN(), Second: math.NaN(), SecondU: math.NaN()}
	var x, y, p []float64
	for i, a := range angle {
		if !math.IsNaN(dev[i]) {
			x, y = append(x, a), append(y, dev[i])
			if pull != nil {
				p = append(p, pull[i])
			}
		}
	}
	if len(x) < 8 || !(f.RangeDeg >= 40) {
		return f, false
	}
	line, err := stats.FitLine(x, y)
	if err != nil {
		return f, false
	}
	f.Slope, f.SlopeU = line.Slope.Value, line.Slope.Expanded()
	f.Straight = 1
	if total := stats.Variance(y) * float64(len(y)-1); total > 0 {
		f.Straight = 1 - line.RSS/total
	}
	if f.RangeDeg < waveRangeDeg || len(x) < 10 {
		return f, true
	}
	one, s1, c1, s2, c2 := col(x), col(x), col(x), col(x), col(x)
	phase := 0.0
	if p != nil {
		phase = phaseOf(x, p)
	}
	for i, a := range x {
		a *= math.Pi / 180
		one[i] = 1
		s1[i], c1[i] = math.Sincos(a - phase)
		s2[i], c2[i] = math.Sincos(2 * a)
	}
	fit, err := stats.OLS([][]float64{one, s1, c1, s2, c2}, y)
	if err != nil {
		return f, true
	}
	u := func(j int) float64 { return fit.Estimate(j).Expanded() }
	f.First, f.FirstU = math.Hypot(fit.Coef[1], fit.Coef[2]), math.Max(u(1), u(2))
	if p != nil {
		f.First, f.FirstU = math.Abs(fit.Coef[2]), u(2)
	}
	f.Second, f.SecondU = math.Hypot(fit.Coef[3], fit.Coef[4]), math.Max(u(3), u(4))
	return f, true
}

func col(x []float64) []float64 { return make([]float64, len(x)) }

// phaseOf is the angle, rad, at which the wave of the load passes zero rising.
func phaseOf(x, load []float64) float64 {
	var s, c float64
	mean := stats.Mean(load)
	for i, a := range x {
		sin, cos := math.Sincos(a * math.Pi / 180)
		s += (load[i] - mean) * sin
		c += (load[i] - mean) * cos
	}
	return math.Atan2(-c, s)
}
