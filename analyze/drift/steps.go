package drift

import (
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// Visit is one reading at rest: of which stop (visits of one Group have the same command, direction
// of approach and load), when, and how far the path deflects.
type Visit struct {
	Group int
	TimeS float64 // middle of the reading
	From  float64 // start of the reading, s
	Defl  float64 // deg
	// Spread is the standard deviation of such a reading, deg, to weigh unlike visits; 0 for all counts
	// them alike.
	Spread float64
	// Also holds what else the reading depends on linearly, fitted beside the groups: the same number
	// of columns for every visit.
	Also []float64
}

// Step is one lasting change of the offset.
type Step struct {
	Size   float64 // deg
	SizeU  float64 // expanded, 95 %
	After  float64 // s: the last reading before it
	Before float64 // s: the first reading after it
	// Share is the part of the scatter between repeated visits that all steps explain, 0..1.
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
	// Quantum is the sensors' step, deg. Visits of one stop read the same count again and again, so
	// repeating them does not average it out; only different stops do.
	Quantum float64
}

// DefaultOptions returns the thresholds for a sensor of that quantum in deg.
func DefaultOptions(quantum float64) Options {
	return Options{LeastDeg: math.Max(0.25, 3*quantum), LeastF: 30, LeastShare: 0.7, Most: 4, Quantum: quantum}
}

// Steps finds the lasting steps in repeated visits, greatest first, by the likelihood ratio of shifts
// at unknown times: every group keeps its own mean, all groups share the shifts. One shift is tried,
// then two at once, since two that undo one another hide from a search for one; the sizes of all are
// fitted together. Shifts must explain the visits better than a smooth drift would. visits are in
// time order; one without a reading (NaN) is left out.
//
// Not observable: fewer than eight visits, no group with visits on both sides, or fewer than three
// visits before or after.
// Source: GLR for a shift of the mean, as in methods of change-point detection (Hinkley 1970, from
// memory); uncertainty by JCGM 100:2008.
func Steps(visits []Visit, o Options) []Step {
	visits = slices.DeleteFunc(slices.Clone(visits), func(v Visit) bool { return math.IsNaN(v.Defl) })
	s := newShifts(visits)
	if len(visits) < 8 || s.df(1) < 3 {
		return nil
	}
	set, now := []int{}, s.none()
	for len(set) < o.Most && !s.settled(now) {
		next, ok := s.better(now, s.bestOne(now), o)
		if !ok && len(set)+2 <= o.Most && now.rss > 1.5*o.LeastDeg*o.LeastDeg*s.weight[0]/float64(s.n) {
			next, ok = s.better(now, s.bestTwo(now), o)
		}
		if !ok {
			break
		}
		set, now = next.at, next
	}
	t := 0.0
	if len(set) > 0 {
		t = distuv.StudentsT{Sigma: 1, Nu: s.df(len(set))}.Quantile(0.975)
	}
	var out []Step
	for i, k := range set {
		// The difference of two readings, each with a rectangular doubt of one quantum.
		reading := 2 * o.Quantum / math.Sqrt(6*float64(s.across(k)))
		out = append(out, Step{Size: now.size[i], SizeU: math.Hypot(t*now.se[i], reading), After: visits[k-1].TimeS, Before: visits[k].TimeS,
			Share: 1 - now.rss/s.none().rss})
	}
	sort.SliceStable(out, func(i, k int) bool { return math.Abs(out[i].Size) > math.Abs(out[k].Size) })
	return out
}

// Locate narrows the time of a step to one sample: where the means of the w samples before and after
// differ most in the direction of the step. from and to bound the search by index. Readings that are
// missing (NaN) are left out, and places with fewer than half on a side. It returns -1 when the stretch
// is too short.
func Locate(defl []float64, from, to, w int, size float64) int {
	best, at := 0.0, -1
	for i := max(from, w); i+w < min(to, len(defl)); i++ {
		a, na := presentSum(defl[i-w : i])
		b, nb := presentSum(defl[i : i+w])
		if 2*na < w || 2*nb < w {
			continue
		}
		if d := (b/float64(nb) - a/float64(na)) * math.Copysign(1, size); d > best {
			best, at = d, i
		}
	}
	return at
}

func presentSum(x []float64) (sum float64, n int) {
	for _, v := range x {
		if !math.IsNaN(v) {
			sum += v
			n++
		}
	}
	return sum, n
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
