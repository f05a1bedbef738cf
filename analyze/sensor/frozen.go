package sensor

import (
	"math"

	"limbgauge/analyze/stats"
)

// Still is a stretch in which a reading kept one value although the command travelled.
type Still struct {
	From, To  int     // samples, half open
	DurationS float64 // from the first to the last
	TravelDeg float64 // of the command meanwhile
	// Natural is the longest time in which the reading kept one value where it might, at rest: as
	// long a stand still proves nothing.
	Natural float64
}

const (
	// frozenS is how long an angle may stay at one value while it is told to travel.
	frozenS = 0.8
	// frozenDeg is how far the command must go meanwhile.
	frozenDeg = 12.0
)

// FindStill finds the stretches of one unchanging reading in which the command travels far. A joint
// that is blocked still shows the noise of its sensor, where the sensor has any: compare DurationS
// with Natural.
func FindStill(time, x, command []float64) (out []Still) {
	natural := 0.0
	for start := 0; start < len(x); {
		end, last := start+1, start
		for end < len(x) && (x[end] == x[start] || math.IsNaN(x[end])) {
			if !math.IsNaN(x[end]) {
				last = end
			}
			end++
		}
		// Most readings stand for a sample or two, which says nothing.
		if d := time[last] - time[start]; !math.IsNaN(x[start]) && d > math.Min(natural, frozenS) {
			switch gone := stats.Reach(command[start : last+1]); {
			case d > frozenS && gone > frozenDeg:
				out = append(out, Still{From: start, To: last + 1, DurationS: d, TravelDeg: gone})
			case gone < frozenDeg/4:
				natural = math.Max(natural, d)
			}
		}
		start = end
	}
	for i := range out {
		out[i].Natural = natural
	}
	return out
}
