package sensor

import (
	"math"
	"slices"
)

// SpikeOptions says what no reading may do.
type SpikeOptions struct {
	// Fastest is the greatest speed the joint can have, deg/s of this sensor.
	Fastest float64
	// LeastDeg is the least excursion that is called a spike while the joint may move; a third of it,
	// or what stands out of the noise, while it is told to rest.
	LeastDeg float64
	Quantum  float64 // step of the reading, deg
}

// Spikes is what jumped away and came back.
type Spikes struct {
	Bad    []bool // the readings to leave out; nil when there are none
	Count  int    // excursions
	Share  float64
	FirstS float64
}

const (
	// beyond is how much faster than the fastest joint a reading must move to be none of its motion.
	beyond = 4.0
	// excursionS is the longest excursion that still is a spike; longer ones are a new place.
	excursionS = 0.1
	// excursionLeast samples are allowed however slow the log is.
	excursionLeast = 3
	// quietS is how long the command must have rested for a reading to be held against its neighbours.
	quietS = 0.3
	// around is how many neighbours on each side that is.
	around = 8
	// outOfNoise is how many standard deviations of them a spike at rest stands out.
	outOfNoise = 12.0
)

// FindSpikes finds readings that jump away from the ones before faster than the joint could move and
// come back within a tenth of a second, and single readings that stand out of their neighbours while
// the command rests. A jump that stays is none: a joint may slip.
func FindSpikes(time, x, command []float64, o SpikeOptions) Spikes {
	s := Spikes{FirstS: math.NaN()}
	mark := func(from, to int) {
		if s.Bad == nil {
			s.Bad = make([]bool, len(x))
		}
		if s.Count == 0 || time[from] < s.FirstS {
			s.FirstS = time[from]
		}
		s.Count++
		for i := from; i < to; i++ {
			s.Bad[i] = true
		}
	}
	excursions(time, x, o, mark)
	standOut(time, x, command, s.Bad, o, mark)
	n, bad := 0, 0
	for i, v := range x {
		if !math.IsNaN(v) {
			n++
			if s.Bad != nil && s.Bad[i] {
				bad++
			}
		}
	}
	if n > 0 {
		s.Share = float64(bad) / float64(n)
	}
	return s
}

func excursions(time, x []float64, o SpikeOptions, mark func(from, to int)) {
	good := -1
	for i := 0; i < len(x); i++ {
		if math.IsNaN(x[i]) {
			continue
		}
		if good < 0 {
			good = i
			continue
		}
		least := math.Max(o.LeastDeg, beyond*o.Fastest*(time[i]-time[good]))
		if math.Abs(x[i]-x[good]) < least {
			good = i
			continue
		}
		back := -1
		for k := i + 1; k < len(x) && (time[k]-time[i] <= excursionS || k-i <= excursionLeast); k++ {
			moved := math.Min(1.5*o.Fastest*(time[k]-time[good]), math.Abs(x[i]-x[good])/3) // meanwhile
			if math.Abs(x[k]-x[good]) <= math.Max(least/3, moved) {
				back = k
				break
			}
		}
		if back > 0 {
			mark(i, back)
			i = back
		}
		good = i
	}
}

// standOut looks for single readings far out of their neighbours while the command rests.
func standOut(time, x, command []float64, bad []bool, o SpikeOptions, mark func(from, to int)) {
	var window [2*around + 1]float64
	rested := 0 // first sample of the present rest
	for i := 1; i+around < len(x); i++ {
		if command[i] != command[i-1] {
			rested = i
		}
		if i < around {
			continue
		}
		if time[i]-time[rested] < quietS || command[i+around] != command[i] || math.IsNaN(x[i]) || bad != nil && bad[i] {
			continue
		}
		// Cheap first: most readings lie beside the one before and the one after.
		least := math.Max(o.LeastDeg/3, 5*o.Quantum)
		if math.Abs(x[i]-x[i-1]) < least && math.Abs(x[i]-x[i+1]) < least {
			continue
		}
		w := window[:0]
		for k := i - around; k <= i+around; k++ {
			if !math.IsNaN(x[k]) && (bad == nil || !bad[k]) {
				w = append(w, x[k])
			}
		}
		if len(w) < around {
			continue
		}
		m := median(w)
		for k := range w {
			w[k] = math.Abs(w[k] - m)
		}
		off := math.Abs(x[i] - m)
		if off < math.Max(least, outOfNoise*1.4826*median(w)) {
			continue
		}
		near := func(k int) bool { return math.Abs(x[k]-m) < off/3 }
		if (near(i-1) || near(i-2)) && (near(i+1) || near(i+2)) {
			mark(i, i+1)
		}
	}
}

// median sorts x. NaN for none.
func median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	slices.Sort(x)
	n := len(x)
	return (x[(n-1)/2] + x[n/2]) / 2
}
