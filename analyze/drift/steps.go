package drift

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Visit is one reading at rest: of which stop (visits of one Group have the same command, direction
// of approach and load), when, and how far the path deflects.
type Visit struct {
	Group int
	TimeS float64 // middle of the reading
	From  float64 // start of the reading, s
	Defl  float64 // deg
}

// Step is one lasting change of the offset.
type Step struct {
	Size   float64 // deg
	SizeU  float64 // expanded, 95 %
	After  float64 // s: the last reading before it
	Before float64 // s: the first reading after it
	// Share is the part of the scatter between repeated visits that the step explains, 0..1.
	Share float64
}

// Options holds the thresholds of Steps [common practice, starting values].
type Options struct {
	LeastDeg float64 // smaller steps are not named; at least two quanta of the sensor
	LeastF   float64 // F of the split; high, because the place is searched
	// LeastShare is the part of the scatter the split must explain: creep that comes and goes with
	// the load also moves the means, but leaves most of the scatter standing.
	LeastShare float64
	Most       int // how many steps are looked for
}

// DefaultOptions returns the thresholds for a sensor of that quantum in deg.
func DefaultOptions(quantum float64) Options {
	return Options{LeastDeg: math.Max(0.25, 3*quantum), LeastF: 30, LeastShare: 0.7, Most: 4}
}

// Steps finds the lasting steps in repeated visits, greatest first, by the likelihood ratio of one
// shift at an unknown time: every group keeps its own mean, all groups share the shift. It also
// wants the step to explain the visits better than a steady drift would. visits are in time order.
//
// Not observable: fewer than eight visits, or no group with visits on both sides.
// Source: GLR for a shift of the mean, as in methods of change-point detection (Hinkley 1970, from
// memory); uncertainty by JCGM 100:2008.
func Steps(visits []Visit, o Options) []Step {
	defl := make([]float64, len(visits))
	for i, v := range visits {
		defl[i] = v.Defl
	}
	var out []Step
	for len(out) < o.Most {
		s, ok := one(visits, defl, o)
		if !ok {
			break
		}
		for i, v := range visits {
			if v.TimeS >= s.Before {
				defl[i] -= s.Size
			}
		}
		out = append(out, s)
	}
	return out
}

func one(visits []Visit, defl []float64, o Options) (Step, bool) {
	n := len(visits)
	groups := map[int][]int{}
	for i, v := range visits {
		groups[v.Group] = append(groups[v.Group], i)
	}
	rss0 := residual(groups, defl)
	df := float64(n - len(groups) - 1)
	if n < 8 || df < 3 {
		return Step{}, false
	}
	times := make([]float64, n)
	for i, v := range visits {
		times[i] = v.TimeS
	}
	best, bestRSS, bestSize, bestSS := -1, math.Inf(1), 0.0, 0.0
	x := make([]float64, n)
	for k := 1; k < n; k++ {
		for i := range x {
			x[i] = 0
			if i >= k {
				x[i] = 1
			}
		}
		size, ss := slope(groups, x, defl)
		if ss < 1 {
			continue
		}
		if rss := rss0 - size*size*ss; rss < bestRSS {
			best, bestRSS, bestSize, bestSS = k, rss, size, ss
		}
	}
	if best < 0 || math.Abs(bestSize) < o.LeastDeg {
		return Step{}, false
	}
	drift, ss := slope(groups, times, defl)
	rssDrift := rss0 - drift*drift*ss
	floor := 1e-6 * float64(n) // (0.001 deg)² a visit: below any sensor, so that F stays finite
	f := (rss0 - bestRSS) / ((bestRSS + floor) / df)
	if f < o.LeastF || bestRSS > rssDrift || bestRSS > (1-o.LeastShare)*rss0 {
		return Step{}, false
	}
	t := distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(0.975)
	u := t * math.Sqrt((bestRSS+floor)/df/bestSS)
	return Step{Size: bestSize, SizeU: u, After: visits[best-1].TimeS, Before: visits[best].TimeS,
		Share: 1 - bestRSS/rss0}, true
}

// slope returns the least-squares coefficient of x in y = group mean + c·x, and the sum of squares
// of x about its group means.
func slope(groups map[int][]int, x, y []float64) (c, sxx float64) {
	var sxy float64
	for _, idx := range groups {
		mx, my := mean(idx, x), mean(idx, y)
		for _, i := range idx {
			sxx += (x[i] - mx) * (x[i] - mx)
			sxy += (x[i] - mx) * (y[i] - my)
		}
	}
	if sxx == 0 {
		return 0, 0
	}
	return sxy / sxx, sxx
}

func residual(groups map[int][]int, y []float64) float64 {
	rss := 0.0
	for _, idx := range groups {
		m := mean(idx, y)
		for _, i := range idx {
			rss += (y[i] - m) * (y[i] - m)
		}
	}
	return rss
}

func mean(idx []int, y []float64) float64 {
	s := 0.0
	for _, i := range idx {
		s += y[i]
	}
	return s / float64(len(idx))
}

// Locate narrows the time of a step to one sample: where the means of the windows before and
// after differ most in the direction of the step. from and to bound the search by index. It
// returns -1 when the stretch is too short.
func Locate(defl []float64, from, to int, size float64) int {
	const w = 12
	best, at := 0.0, -1
	for i := max(from, w); i+w < min(to, len(defl)); i++ {
		var a, b float64
		for k := range w {
			a += defl[i-1-k]
			b += defl[i+k]
		}
		if d := (b - a) / w * math.Copysign(1, size); d > best {
			best, at = d, i
		}
	}
	return at
}

// Pitch compares a step with a pitch (a pulley's tooth, a spline's).
type Pitch struct {
	Whole   int     // nearest whole number of pitches; 0 when none fits
	Ratio   float64 // step / pitch
	Matches bool    // the ratio lies within 0.15 of a whole number that is not 0
}

// pitchTolerance is how far from a whole number of pitches a skip may lie [common practice].
const pitchTolerance = 0.15

// ComparePitch tells whether a step is a whole number of pitches. The step's own uncertainty must
// not reach the neighbouring numbers.
func ComparePitch(step, stepU, pitch float64) Pitch {
	r := math.Abs(step) / pitch
	whole := int(math.Round(r))
	p := Pitch{Whole: whole, Ratio: r}
	p.Matches = whole > 0 && math.Abs(r-float64(whole)) <= pitchTolerance && stepU/pitch < 0.5
	if !p.Matches {
		p.Whole = 0
	}
	return p
}
