package drift

import (
	"math"

	"limbgauge/analyze/stats"
)

// Within is a sudden change inside one dwell.
type Within struct {
	Size, SizeU float64 // deg; expanded, 95 %
	At          float64 // s, the middle of the two bins between which it lies
	BinS        float64 // their length
}

const (
	// withinBins is how many bins a dwell is read in; withinF the least F of the step, whose place is
	// searched; withinSudden the share of it that must happen from one bin to the next but one.
	withinBins   = 60
	withinF      = 60.0
	withinSudden = 0.8
)

// FindWithin looks for one step inside a dwell in which command and load stand still: beside growth by
// the logarithm of time, at the place that leaves the least, sudden, and at least least deg. time and defl are
// the dwell's samples; the first half second, in which the joint still swings, is left out. ok is false
// where there is none, where the dwell is shorter than 4 s, or where growth alone explains it.
// Source: regression with a break at an unknown place; its F must be high, because the place is searched.
func FindWithin(time, defl []float64, least float64) (w Within, ok bool) {
	const settleS = 0.5
	n := len(time)
	if n < 2*withinBins || time[n-1]-time[0] < 4 {
		return w, false
	}
	start := time[0] + settleS
	w.BinS = (time[n-1] - start) / withinBins
	var one, lg, y, at []float64
	for b, i := 0, 0; b < withinBins; b++ {
		end := start + w.BinS*float64(b+1)
		sum, k := 0.0, 0
		for ; i < n && time[i] <= end; i++ {
			if time[i] >= start && !math.IsNaN(defl[i]) {
				sum += defl[i]
				k++
			}
		}
		if k > 0 {
			mid := end - w.BinS/2
			one, lg, y, at = append(one, 1), append(lg, math.Log(mid-time[0])), append(y, sum/float64(k)), append(at, mid)
		}
	}
	m := len(y)
	if m < withinBins/2 {
		return w, false
	}
	base, err := stats.OLS([][]float64{one, lg}, y)
	if err != nil {
		return w, false
	}
	best, place := math.Inf(1), -1
	step := make([]float64, m)
	for k := lasting; k+lasting <= m; k++ {
		for i := range step {
			step[i] = 0
			if i >= k {
				step[i] = 1
			}
		}
		if f, err := stats.OLS([][]float64{one, lg, step}, y); err == nil && f.RSS < best {
			best, place = f.RSS, k
		}
	}
	if place < 0 {
		return w, false
	}
	// The bins beside the place may hold some of either side: they are left out of the size.
	var cols [3][]float64
	var rest []float64
	for i := range y {
		if i == place-1 || i == place {
			continue
		}
		after := 0.0
		if i > place {
			after = 1
		}
		cols[0], cols[1], cols[2], rest = append(cols[0], 1), append(cols[1], lg[i]), append(cols[2], after), append(rest, y[i])
	}
	fit, err := stats.OLS(cols[:], rest)
	if err != nil {
		return w, false
	}
	s2 := fit.RSS/fit.DF + visitFloor
	e := fit.Estimate(2)
	w.Size, w.SizeU = e.Value, math.Max(e.Expanded(), 2*math.Sqrt(2*s2))
	w.At = (at[place-1] + at[place]) / 2
	sudden := y[min(m-1, place+1)] - y[max(0, place-2)]
	return w, math.Abs(w.Size) >= least && (base.RSS-fit.RSS)/s2 > withinF && sudden/w.Size > withinSudden
}
