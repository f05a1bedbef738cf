package calibrate

import (
	"fmt"
	"math"
	"slices"

	"limbgauge/analyze/segment"
	"limbgauge/analyze/stats"
	"limbgauge/rig"
)

// pulsePoints is the least number of stops per direction: a line and something to check it by.
const pulsePoints = 3

// slopeLeast is the least slope, deg/µs, of a servo that follows its pulses: a twentieth of the usual
// 0.09 [common practice].
const slopeLeast = 0.005

// Pulse fits where the servo goes for a pulse: a straight line for stops reached by rising pulses
// and one for falling ones, angle = a + b·(pulse - mean pulse). What lies between them is dead band,
// play and friction together; the points cannot tell these apart.
//
// Even a bare link falls to the lower side of dead band and play, which swap where it hangs down, and
// a line through that has too small a slope. So a step at downDeg, the angle of hanging down, is
// fitted as well where the points show one; it is no part of where the servo goes. A load's bending
// looks like a slope and is not taken out: calibrate without load. downDeg is NaN where nothing
// is known of it. within is what the angles are right within, deg.
func Pulse(points []rig.PulsePoint, within, downDeg float64) (p rig.PulseMap, notes []string, err error) {
	if len(points) == 0 {
		return p, nil, fmt.Errorf("%w: there are none", ErrPoints)
	}
	var all []float64
	for _, x := range points {
		all = append(all, x.PulseUS)
	}
	p = rig.PulseMap{AtUS: Round(stats.Mean(all)), FromUS: slices.Min(all), ToUS: slices.Max(all), WithinDeg: within, Points: slices.Clone(points)}
	var rising, falling []rig.PulsePoint
	for _, q := range points {
		if q.Direction > 0 {
			rising = append(rising, q)
		} else {
			falling = append(falling, q)
		}
	}
	for _, d := range []struct {
		name string
		pts  []rig.PulsePoint
	}{{"rising", rising}, {"falling", falling}} {
		if err := followsPulses(d.name, d.pts); err != nil {
			return p, nil, err
		}
	}
	f := pulseFit(points, p.AtUS, math.NaN())
	if !math.IsNaN(downDeg) {
		if g := pulseFit(points, p.AtUS, downDeg); g.err == nil && g.bic < f.bic-bicApart {
			f = g
			p.DownDeg, p.SideDeg = downDeg, Round(g.fit.Coef[4])
			p.SideDegU = Round(widen(g.fit.DF) * g.fit.Estimate(4).U)
			notes = append(notes, fmt.Sprintf("Where the link hangs down the angle steps by %.2g deg, as play and dead band do under its own weight; this was kept out of the lines.", 2*math.Abs(p.SideDeg)))
		}
	}
	if f.err != nil {
		return p, nil, fmt.Errorf("fit the lines: %w", f.err)
	}
	f.fill(&p, within)
	slope, d := (p.Up.DegPerUS+p.Down.DegPerUS)/2, p.Up.DegPerUS-p.Down.DegPerUS
	if u := math.Max(p.Up.DegPerUSU, p.Down.DegPerUSU) / slope; u > 0.01 {
		notes = append(notes, fmt.Sprintf("The slope is known to %.1f %% only: stops further apart would tell it better.", 200*u))
	}
	if math.Abs(d) > 2*math.Hypot(p.Up.DegPerUSU, p.Down.DegPerUSU) {
		notes = append(notes, fmt.Sprintf("The two directions have slopes %.2f %% apart: friction or load changes along the range. Do this without a load.", 100*math.Abs(d)/slope))
	}
	return p, notes, nil
}

// followsPulses refuses stops of one direction that make no rising line.
func followsPulses(name string, pts []rig.PulsePoint) error {
	if len(pts) < pulsePoints {
		return fmt.Errorf("%w: %d stops were reached by %s pulses; take at least %d each way, so that the dead band shows", ErrPoints, len(pts), name, pulsePoints)
	}
	var x, y []float64
	for _, q := range pts {
		x, y = append(x, q.PulseUS), append(y, q.AngleDeg)
	}
	l, err := stats.FitLine(x, y)
	switch {
	case err != nil:
		return fmt.Errorf("%w: the stops by %s pulses all have one pulse: %w", ErrPoints, name, err)
	case math.Abs(l.Slope.Value) < slopeLeast:
		return fmt.Errorf("%w: the angle hardly changes with the pulse (%.2g deg per us); does the joint move at all?", ErrPoints, l.Slope.Value)
	case l.Slope.Value < 0:
		return fmt.Errorf("%w: the angle falls by %.3g deg per us of rising pulse; the joint must turn to greater angles with longer pulses, so turn the sense of the sensor or of the servo first", ErrPoints, -l.Slope.Value)
	}
	return nil
}

// pulsePair is both lines fitted together: a and b of rising pulses, the same of falling ones, and
// perhaps the step at the angle of hanging down.
type pulsePair struct {
	fit stats.Fit
	bic float64
	err error
}

func pulseFit(points []rig.PulsePoint, atUS, downDeg float64) (f pulsePair) {
	cols := make([][]float64, 4, 5)
	var y, side []float64
	for _, q := range points {
		row := [4]float64{1, q.PulseUS - atUS}
		if q.Direction < 0 {
			row = [4]float64{0, 0, 1, q.PulseUS - atUS}
		}
		for k := range cols {
			cols[k] = append(cols[k], row[k])
		}
		y, side = append(y, q.AngleDeg), append(side, rig.PulseSide(q.AngleDeg, downDeg))
	}
	if !math.IsNaN(downDeg) {
		cols = append(cols, side)
	}
	if f.fit, f.err = stats.OLS(cols, y); f.err == nil {
		n := len(y)
		f.bic = stats.BIC(math.Max(f.fit.RSS, float64(n)*1e-8), n, len(cols)) // exact points do not rank by rounding
	}
	return f
}

// fill writes the lines, their doubt and the residuals.
func (f *pulsePair) fill(p *rig.PulseMap, within float64) {
	w := widen(f.fit.DF)
	p.GapDeg = Round(f.fit.Coef[0] - f.fit.Coef[2])
	// Where between both lines the servo really aims is known from their middle only if nothing pulls:
	// the line may be tilted by as much as the gap over the range.
	tilt := math.Abs(p.GapDeg) / math.Sqrt(3) / (p.ToUS - p.FromUS)
	for k, l := range []*rig.PulseLine{&p.Up, &p.Down} {
		a, b := f.fit.Estimate(2*k), f.fit.Estimate(2*k+1)
		*l = rig.PulseLine{Deg: Round(a.Value), DegU: Round(math.Hypot(w*a.U, within/math.Sqrt(3))), DegPerUS: Round(b.Value),
			DegPerUSU: Round(math.Hypot(math.Hypot(w*b.U, within*math.Sqrt(2.0/3)/(p.ToUS-p.FromUS)), tilt))}
	}
	// The reference's own error is common to both lines and no part of the gap between them.
	c := f.fit.Cov
	p.GapDegU = Round(w * math.Sqrt(c[0][0]+c[2][2]-2*c[0][2]))
	p.ResidualSD, p.Freedom = Round(f.fit.S), int(f.fit.DF)
	for i := range p.Points {
		q := &p.Points[i]
		q.Residual = Round(q.AngleDeg - p.At(q))
	}
}

// PulseFrom takes the points of a pulse map from a run: the mean of each stair stop's settled part,
// averaged over cycles for each target and direction, since cycles repeat what is systematic. s holds
// the readings as the stand sent them; base, which may be nil, corrects the angles.
func PulseFrom(s *rig.Series, j rig.Joint, base *rig.Correction) ([]rig.PulsePoint, error) {
	var out []rig.PulsePoint
	err := stopMeans(s, func(target float64, dir int, angle, _ mean) {
		out = append(out, rig.PulsePoint{PulseUS: Round(j.PulseOf(target)), Direction: dir, ReadingDeg: Round(angle.value),
			AngleDeg: Round(base.Apply(angle.value)), SD: Round(angle.sd), N: angle.n})
	})
	return out, err
}

// mean is the average of the stops at one target in one direction.
type mean struct {
	value, sd float64
	n         int
}

// stopMeans visits each target and direction of a run's stairs.
func stopMeans(s *rig.Series, visit func(target float64, dir int, angle, current mean)) error {
	if s.Len() == 0 || s.Command == nil || s.Angle == nil {
		return fmt.Errorf("%w: the run holds no command or no joint angle", ErrPoints)
	}
	stops, targets := segment.Stops(s.Time, segment.Split(s.Time, s.Command, s.Move))
	if len(targets) == 0 {
		return fmt.Errorf("%w: the run has no stair stop that was reached from both sides", ErrPoints)
	}
	for _, t := range targets {
		for _, dir := range []int{1, -1} {
			var angle, current []float64
			for _, st := range stops {
				if st.Target == t && st.Dir == dir {
					angle = append(angle, measured(s.Angle, st.Tail)...)
					current = append(current, measured(s.Current, st.Tail)...)
				}
			}
			if len(angle) > 0 {
				visit(t, dir, meanOf(angle), meanOf(current))
			}
		}
	}
	return nil
}

func measured(col []float64, span [2]int) (out []float64) {
	if col == nil {
		return nil
	}
	for _, v := range col[span[0]:span[1]] {
		if !math.IsNaN(v) {
			out = append(out, v)
		}
	}
	return out
}

func meanOf(x []float64) mean {
	switch len(x) {
	case 0:
		return mean{value: math.NaN()}
	case 1:
		return mean{value: x[0], n: 1}
	}
	return mean{stats.Mean(x), stats.SD(x), len(x)}
}
