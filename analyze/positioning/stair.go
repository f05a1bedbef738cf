package positioning

import (
	"fmt"
	"math"

	"limbgauge/analyze/stats"
)

// standardCycles is how often ISO 230-2 asks every target to be reached from either side.
const standardCycles = 5

// TargetsAsked returns the least number of targets ISO 230-2:2014, clause 5.3, asks of a rotary axis
// of that travel, deg (from memory).
func TargetsAsked(travelDeg float64) int {
	switch {
	case travelDeg <= 90:
		return 3
	case travelDeg <= 180:
		return 5
	}
	return 8
}

func (g grid) remarks() (out []string) {
	m := len(g.targets)
	travel := g.targets[m-1] - g.targets[0]
	if asked := TargetsAsked(travel); m < asked {
		out = append(out, fmt.Sprintf("The stair has %d targets over %.0f deg; the standard asks for %d.", m, travel, asked))
	}
	if n := len(g.cycles); n < standardCycles {
		out = append(out, fmt.Sprintf("The stair has %d cycles; the standard asks for %d.", n, standardCycles))
	}
	missing := 0
	for _, both := range g.x {
		for _, row := range both {
			for _, v := range row {
				if math.IsNaN(v) {
					missing++
				}
			}
		}
	}
	if missing > 0 {
		out = append(out, fmt.Sprintf("%d of %d stops are missing.", missing, 2*m*len(g.cycles)))
	}
	return out
}

// Overshot reports whether a joint passed the rest of a stop on its way in, by more than two quanta:
// then it came back to it from the wrong side, and its reversal is too small or has the wrong sign.
// angle covers the last of the travel and the dwell, deg. One reading beyond is noise; it takes two
// neighbours.
func Overshot(angle []float64, dir int, restDeg, quantum float64) bool {
	for i := 1; i+1 < len(angle); i++ {
		if float64(dir)*(stats.Median(angle[i-1:i+2])-restDeg) > 2*quantum {
			return true
		}
	}
	return false
}
