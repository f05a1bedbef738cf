package drift

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// Growth is how far a path gave way while command and load stood still.
type Growth struct {
	Size      float64 // deg, from the first second of the hold to its end; signed
	SizeU     float64 // expanded, 95 %
	DurationS float64
	// PerDecade is the slope against log10 of time, deg.
	PerDecade float64
	// LogShare is the part of the scatter explained by log time, LinearShare by plain time.
	LogShare, LinearShare float64
}

// Hold measures growth in one hold. time and defl are the hold's samples, quantum is the sensors'
// step in deg. ok is false when the hold is shorter than 4 s: then creep cannot be told from the
// end of settling.
//
// The first settleS are left out (the joint still swings), so the figure is growth since then: what
// happened in the first moments is not in it.
// Source: Findley, Lai, Onaran 1976, growth under constant load, fast then slow (from memory).
func Hold(time, defl []float64, quantum float64) (g Growth, ok bool) {
	const settleS, firstS, bins = 0.5, 0.7, 24
	if len(time) < 50 {
		return Growth{}, false
	}
	t0 := time[0]
	total := time[len(time)-1] - t0
	if total < 4 {
		return Growth{}, false
	}
	var x, logx, y []float64
	// Bins are even in log time, so that the fast beginning counts as much as the slow end.
	lo, hi := math.Log10(settleS), math.Log10(total)
	i := 0
	for b := range bins {
		end := math.Pow(10, lo+(hi-lo)*float64(b+1)/bins)
		start := math.Pow(10, lo+(hi-lo)*float64(b)/bins)
		var sum float64
		n := 0
		for ; i < len(time) && time[i]-t0 <= end; i++ {
			if time[i]-t0 >= start && !math.IsNaN(defl[i]) {
				sum += defl[i]
				n++
			}
		}
		if n >= 5 {
			mid := math.Sqrt(start * end)
			x, logx, y = append(x, mid), append(logx, math.Log10(mid)), append(y, sum/float64(n))
		}
	}
	if len(y) < 6 {
		return Growth{}, false
	}
	first, fn := window(time, defl, t0+settleS, t0+settleS+firstS)
	last, ln := window(time, defl, t0+total*0.9, t0+total+1e-9)
	g = Growth{Size: last - first, DurationS: total}
	_, g.PerDecade = stat.LinearRegression(logx, y, nil, false)
	g.LogShare = share(logx, y)
	g.LinearShare = share(x, y)
	// A reading averaged over n samples keeps a third of a quantum's doubt when noise does not
	// dither it, and the noise of neighbouring samples is not independent: a tenth counts. What the
	// growth does that no logarithm does counts once.
	u := math.Max(math.Sqrt(2)*quantum/math.Sqrt(12)/3, scatter(logx, y)) + sdOf(fn, ln)
	g.SizeU = 2 * u
	return g, true
}

func sdOf(a, b float64) float64 { return math.Sqrt(a*a + b*b) }

// window returns the mean between two times and its standard error, a tenth of the samples
// counting as independent.
func window(time, y []float64, from, to float64) (mean, se float64) {
	var v []float64
	for i, t := range time {
		if t >= from && t <= to && !math.IsNaN(y[i]) {
			v = append(v, y[i])
		}
	}
	m, sd := stat.MeanStdDev(v, nil)
	if len(v) < 2 {
		return m, 0
	}
	return m, sd / math.Sqrt(math.Max(1, float64(len(v))/10))
}

func share(x, y []float64) float64 {
	r := stat.Correlation(x, y, nil)
	if math.IsNaN(r) {
		return 0
	}
	return r * r
}

func scatter(x, y []float64) float64 {
	a, b := stat.LinearRegression(x, y, nil, false)
	s := 0.0
	for i := range x {
		d := y[i] - a - b*x[i]
		s += d * d
	}
	return math.Sqrt(s / float64(len(x)-2))
}
