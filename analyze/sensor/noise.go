package sensor

import (
	"math"

	"limbgauge/analyze/stats"
)

// RestNoise is the standard deviation of single readings in stretches of rest, given by samples
// [from, to). It comes from the median of second differences, in which creep and the swing of a joint
// all but cancel: readings that scatter have 1, -2, 1 times independent noise in them, so √6 of its
// deviation. It is 0 where there are fewer than 100.
func RestNoise(x []float64, rests [][2]int) float64 {
	most := 0
	for _, r := range rests {
		most += max(0, r[1]-r[0])
	}
	d := make([]float64, 0, most)
	for _, r := range rests {
		for i := r[0] + 1; i+1 < r[1]; i++ {
			if v := math.Abs(x[i+1] - 2*x[i] + x[i-1]); !math.IsNaN(v) {
				d = append(d, v)
			}
		}
	}
	if len(d) < 100 {
		return 0
	}
	return 1.4826 * stats.Nth(d, len(d)/2) / math.Sqrt(6)
}

// Clock is what the times of the samples are like.
type Clock struct {
	SpacingS float64 // median
	// JitterS is the standard deviation of the time of a sample about an even grid, from the median
	// of what the spacings miss of whole multiples of SpacingS: lost samples are no jitter.
	JitterS float64
	// Bursts is the share of samples that bear the time of the one before.
	Bursts float64
}

// FindClock looks at the times of the samples, s, which never fall.
func FindClock(time []float64) Clock {
	d := make([]float64, 0, len(time))
	same := 0
	for i := 1; i < len(time); i++ {
		d = append(d, time[i]-time[i-1])
		if time[i] == time[i-1] {
			same++
		}
	}
	if len(d) == 0 {
		return Clock{}
	}
	c := Clock{Bursts: float64(same) / float64(len(d))}
	if c.SpacingS = stats.Median(d); c.SpacingS <= 0 {
		return c
	}
	for i, v := range d {
		whole := 1.0
		if v >= 1.5*c.SpacingS { // samples are missing
			whole = math.Round(v / c.SpacingS)
		}
		d[i] = math.Abs(v - c.SpacingS*whole)
	}
	// A spacing has the jitter of two samples in it.
	c.JitterS = 1.4826 * stats.Median(d) / math.Sqrt2
	return c
}
