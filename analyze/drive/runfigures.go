package drive

import (
	"fmt"

	"limbgauge/analyze/stats"
)

// RunFigures are the speed and current of one travel under a load.
type RunFigures struct {
	N       int
	Speed   stats.Estimate // deg/s, slope of the line through the angle; U takes samples as independent
	Current stats.Estimate // A, mean and its standard error
}

// Steady computes the figures of a travel between its first sample plus trimS and its last less
// trimS, both ends included, so that starting and stopping stay out. Current may be nil. It needs
// three samples in between.
func Steady(time, angleDeg, amps []float64, trimS float64) (RunFigures, error) {
	if len(time) == 0 {
		return RunFigures{}, fmt.Errorf("speed of a travel without samples: %w", stats.ErrTooFew)
	}
	from, to := time[0]+trimS, time[len(time)-1]-trimS
	const eps = 1e-9 // s, so that a time exactly on the border counts as inside
	var t, a, c []float64
	for i, ti := range time {
		if ti < from-eps || ti > to+eps {
			continue
		}
		t, a = append(t, ti), append(a, angleDeg[i])
		if amps != nil {
			c = append(c, amps[i])
		}
	}
	l, err := stats.FitLine(t, a)
	if err != nil || l.N < 3 {
		return RunFigures{}, fmt.Errorf("speed of a travel with %d steady samples: %w", len(t), stats.ErrTooFew)
	}
	r := RunFigures{N: l.N, Speed: l.Slope, Current: stats.Unseen("the current was not measured")}
	if amps != nil {
		r.Current = stats.MeanOf(c)
	}
	return r, nil
}
