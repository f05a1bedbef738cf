package friction

import (
	"math"

	"limbgauge/analyze/stats"
)

// Trimmed returns the cycles without the readings that lie more than `sigmas` robust standard
// deviations off the fitted model, so that a tight spot does not pass for friction of the whole
// travel. The motions must not need thinning. Where the model cannot be fitted they come back whole.
func Trimmed(cycles []Motion, model Model, sigmas float64) []Motion {
	keep := cycles
	for range 4 { // the first fit still leans toward the spot; the next ones less and less
		cols, y, err := prepareColumns(Join(keep...), model)
		if err != nil {
			return cycles
		}
		fit, err := stats.OLS(cols, y)
		if err != nil {
			return cycles
		}
		limit := sigmas * stats.RobustSD(fit.Resid)
		if !(limit > 0) {
			return keep
		}
		var next []Motion
		for _, m := range cycles {
			out := Motion{Thin: m.Thin}
			for i := range m.Speed {
				want := 0.0
				one := Motion{Angle: m.Angle[i : i+1], Speed: m.Speed[i : i+1], Acc: m.Acc[i : i+1]}
				for j, t := range model.Terms {
					want += fit.Coef[j] * one.column(t)[0]
				}
				for t, k := range model.Known {
					want += k * one.column(t)[0]
				}
				if math.Abs(m.Torque[i]-want) <= limit {
					out.Angle, out.Speed = append(out.Angle, m.Angle[i]), append(out.Speed, m.Speed[i])
					out.Acc, out.Torque = append(out.Acc, m.Acc[i]), append(out.Torque, m.Torque[i])
				}
			}
			next = append(next, out)
		}
		keep = next
	}
	return keep
}
