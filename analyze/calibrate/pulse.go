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

// Pulse fits where the servo goes for a pulse: a straight line for stops reached by rising pulses
// and one for falling ones, angle = a + b·(pulse - mean pulse). What lies between them is dead band,
// play and friction together; the points cannot tell these apart. within is what the angles are
// right within, deg.
func Pulse(points []rig.PulsePoint, within float64) (p rig.PulseMap, notes []string, err error) {
	if len(points) == 0 {
		return p, nil, fmt.Errorf("%w: there are none", ErrPoints)
	}
	var all []float64
	for _, x := range points {
		all = append(all, x.PulseUS)
	}
	p = rig.PulseMap{AtUS: round(stats.Mean(all)), FromUS: slices.Min(all), ToUS: slices.Max(all), WithinDeg: within, Points: slices.Clone(points)}
	for _, d := range []struct {
		dir  int
		name string
		of   *rig.PulseLine
	}{{1, "rising", &p.Up}, {-1, "falling", &p.Down}} {
		var x, y []float64
		for _, q := range points {
			if q.Direction == d.dir {
				x, y = append(x, q.PulseUS-p.AtUS), append(y, q.AngleDeg)
			}
		}
		if len(x) < pulsePoints {
			return p, nil, fmt.Errorf("%w: %d stops were reached by %s pulses; take at least %d each way, so that the dead band shows", ErrPoints, len(x), d.name, pulsePoints)
		}
		l, err := stats.FitLine(x, y)
		if err != nil {
			return p, nil, fmt.Errorf("%w: the stops by %s pulses all have one pulse: %w", ErrPoints, d.name, err)
		}
		if l.Slope.Value <= 0 {
			return p, nil, fmt.Errorf("%w: the angle falls by %.3g deg per us of rising pulse; the joint must turn to greater angles with longer pulses, so turn the sense of the sensor or of the servo first", ErrPoints, -l.Slope.Value)
		}
		w := widen(l.DF)
		at := l.At(0)
		*d.of = rig.PulseLine{Deg: round(at.Value), DegU: round(math.Hypot(w*at.U, within/math.Sqrt(3))), DegPerUS: round(l.Slope.Value),
			DegPerUSU: round(math.Hypot(w*l.Slope.U, within*math.Sqrt(2.0/3)/(p.ToUS-p.FromUS))), ResidualSD: round(l.S), Freedom: int(l.DF)}
		// The reference's own error is common to both lines and no part of the gap between them.
		p.GapDegU = math.Hypot(p.GapDegU, w*at.U)
		if u := w * l.Slope.U / l.Slope.Value; u > 0.01 {
			notes = append(notes, fmt.Sprintf("The slope by %s pulses is known to %.1f %% only (standard uncertainty): stops further apart would tell it better.", d.name, 100*u))
		}
	}
	p.GapDeg, p.GapDegU = round(p.Up.Deg-p.Down.Deg), round(p.GapDegU)
	for i := range p.Points {
		q := &p.Points[i]
		l := p.Line(q.Direction)
		q.Residual = round(q.AngleDeg - (l.Deg + l.DegPerUS*(q.PulseUS-p.AtUS)))
	}
	slope, d := (p.Up.DegPerUS+p.Down.DegPerUS)/2, p.Up.DegPerUS-p.Down.DegPerUS
	if math.Abs(d) > 2*math.Hypot(p.Up.DegPerUSU, p.Down.DegPerUSU) {
		notes = append(notes, fmt.Sprintf("The two directions have slopes %.2f %% apart: friction or load changes along the range. Do this without a load.", 100*math.Abs(d)/slope))
	}
	return p, notes, nil
}

// PulseFrom takes the points of a pulse map from a run: the mean of each stair stop's settled part,
// averaged over cycles for each target and direction, since cycles repeat what is systematic. s holds
// the readings as the stand sent them; base, which may be nil, corrects the angles.
func PulseFrom(s *rig.Series, j rig.Joint, base *rig.Correction) ([]rig.PulsePoint, error) {
	var out []rig.PulsePoint
	err := stopMeans(s, func(target float64, dir int, angle, _ mean) {
		out = append(out, rig.PulsePoint{PulseUS: round(j.PulseOf(target)), Direction: dir, ReadingDeg: round(angle.value),
			AngleDeg: round(base.Apply(angle.value)), SD: round(angle.sd), N: angle.n})
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
