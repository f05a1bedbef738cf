package drift

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

const (
	// lasting is the least number of visits between two steps, and before and after: less is a bump.
	lasting = 3
	// visitFloor, deg² a visit, lies below any sensor and keeps F finite without noise.
	visitFloor = 1e-6
	// leastKnown is what must be left of a step's column when group means are taken off, in visits.
	leastKnown = 1
	// quietRatio lies well below what the least share that steps must explain leaves of the scatter.
	quietRatio = 1.5
	// mostTries bounds the places tried in a search for two steps.
	mostTries = 200
)

// shifts holds what every fit of steps needs: the products of the columns "1 from visit k on", each
// less what group means and the visits' own columns explain of it, with one another and with the
// visits. They come from sums from k to the end, so that long runs cost no square of their length.
//
// Every row is divided by its visit's spread, so that visits count by what they know.
type shifts struct {
	n, groups int
	members   map[int][]int // the visits of each group, ascending
	total     []float64     // by group, sum of the weights
	weight    []float64     // by visit and at the end: sum of weights from there on
	inGroup   [][]float64   // by visit: the same within each group
	alongside [][]float64   // by visit: sums of the visits' own columns from there on
	with      []float64
	own       []float64 // gram of each column with itself
	rss       float64   // about the group means and the visits' own columns
	smooth    []float64
	// noise is the variance of a visit from the differences of each with the next of its group, in which
	// a lasting step counts but once; NaN where visits have columns of their own, or are few.
	noise float64
}

// found is the fit of one set of steps.
type found struct {
	at       []int // the first visit after each step, ascending
	size, se []float64
	rss      float64
}

// maxSmooth is the highest degree of the smooth drift that steps are held against.
const maxSmooth = 8

func newShifts(visits []Visit) *shifts {
	n := len(visits)
	s := &shifts{n: n, members: map[int][]int{}}
	row := make([]float64, n) // one over the spread
	index := map[int]int{}
	group := make([]int, n)
	for i, v := range visits {
		s.members[v.Group] = append(s.members[v.Group], i)
		if _, ok := index[v.Group]; !ok {
			index[v.Group] = len(index)
		}
		group[i] = index[v.Group]
		row[i] = 1
		if v.Spread > 0 {
			row[i] = 1 / v.Spread
		}
	}
	s.groups = len(index)
	s.total = make([]float64, s.groups)
	for i, r := range row {
		s.total[group[i]] += r * r
	}
	center := func(x []float64) []float64 { // x is scaled by row
		m := make([]float64, s.groups)
		for i, r := range row {
			m[group[i]] += r * x[i]
		}
		for i, r := range row {
			x[i] -= r * m[group[i]] / s.total[group[i]]
		}
		return x
	}
	var basis [][]float64
	for k := 0; n > 0 && k < len(visits[0].Also); k++ {
		c := make([]float64, n)
		for i, v := range visits {
			c[i] = row[i] * v.Also[k]
		}
		basis = orthonormal(basis, center(c))
	}
	free := func(x []float64) []float64 {
		x = center(x)
		for _, b := range basis {
			take(x, b, dot(x, b))
		}
		return x
	}
	y := make([]float64, n)
	for i, v := range visits {
		y[i] = row[i] * v.Defl
	}
	y = free(y)
	s.rss = dot(y, y)
	s.groups += len(basis)
	s.weight, s.with = make([]float64, n+1), make([]float64, n)
	s.inGroup, s.alongside = make([][]float64, n), make([][]float64, n)
	sums, own := make([]float64, len(s.total)), make([]float64, len(basis))
	along := 0.0
	for k := n - 1; k >= 0; k-- {
		s.weight[k] = s.weight[k+1] + row[k]*row[k]
		sums[group[k]] += row[k] * row[k]
		for m, b := range basis {
			own[m] += row[k] * b[k]
		}
		along += row[k] * y[k]
		s.with[k], s.inGroup[k], s.alongside[k] = along, slices.Clone(sums), slices.Clone(own)
	}
	s.own = make([]float64, n)
	for k := range s.own {
		s.own[k] = s.gram(k, k)
	}
	s.smooth = smoothResiduals(visits, row, y, free)
	s.noise = math.NaN()
	if len(basis) == 0 {
		s.noise = s.neighbours(visits, row)
	}
	return s
}

func (s *shifts) neighbours(visits []Visit, row []float64) float64 {
	var d2 []float64
	for _, idx := range s.members {
		for k := 1; k < len(idx); k++ {
			a, b := idx[k-1], idx[k]
			d := visits[b].Defl - visits[a].Defl
			d2 = append(d2, d*d/(1/(row[a]*row[a])+1/(row[b]*row[b])))
		}
	}
	if len(d2) < longRun {
		return math.NaN()
	}
	slices.Sort(d2)
	return d2[len(d2)/4] / quarterOfChi
}

const (
	// longRun is the number of visits from which the search is worth cutting short.
	longRun = 400
	// quarterOfChi is the lower quartile of chi-square with one degree of freedom: steps are in some of
	// the differences, in which the quarter of the smallest has no part.
	quarterOfChi = 0.1015
)

// settled reports whether what a fit leaves is no more than visits differ from one to the next: then no
// step is left that would explain most of it.
func (s *shifts) settled(f found) bool { return f.rss < quietRatio*s.noise*s.df(len(f.at)) }

// orthonormal adds a column to an orthonormal basis; one that lies in it is left out.
func orthonormal(basis [][]float64, c []float64) [][]float64 {
	before := math.Sqrt(dot(c, c))
	for range 2 { // twice against rounding
		for _, b := range basis {
			take(c, b, dot(c, b))
		}
	}
	size := math.Sqrt(dot(c, c))
	if !(size > 1e-9*math.Max(1, before)) {
		return basis
	}
	for i := range c {
		c[i] /= size
	}
	return append(basis, c)
}

// gram is the product of the columns from visit k and from visit l on.
func (s *shifts) gram(k, l int) float64 {
	g := s.weight[max(k, l)]
	for i, a := range s.inGroup[k] {
		g -= a * s.inGroup[l][i] / s.total[i]
	}
	for i, a := range s.alongside[k] {
		g -= a * s.alongside[l][i]
	}
	return g
}

// smoothResiduals returns what is left of y after a drift by a polynomial of time of each degree.
func smoothResiduals(visits []Visit, row, y []float64, free func([]float64) []float64) []float64 {
	left := slices.Clone(y)
	out := []float64{dot(left, left)}
	if len(visits) == 0 {
		return out
	}
	first, last := visits[0].TimeS, visits[len(visits)-1].TimeS
	var basis [][]float64
	for deg := 1; deg <= maxSmooth; deg++ {
		c := make([]float64, len(visits))
		for i, v := range visits {
			x := 2*(v.TimeS-first)/math.Max(last-first, 1e-9) - 1
			c[i] = row[i] * math.Cos(float64(deg)*math.Acos(math.Max(-1, math.Min(1, x)))) // Chebyshev
		}
		before := len(basis)
		if basis = orthonormal(basis, free(c)); len(basis) > before {
			take(left, basis[before], dot(left, basis[before]))
		}
		out = append(out, dot(left, left))
	}
	return out
}

func take(x, b []float64, k float64) {
	for i := range x {
		x[i] -= k * b[i]
	}
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i, v := range a {
		s += v * b[i]
	}
	return s
}

func (s *shifts) none() found { return found{rss: s.rss} }

func (s *shifts) df(steps int) float64 { return float64(s.n - s.groups - steps) }

// across counts the groups with visits on both sides of visit k.
func (s *shifts) across(k int) int {
	n := 0
	for _, idx := range s.members {
		if idx[0] < k && idx[len(idx)-1] >= k {
			n++
		}
	}
	return n
}

// fit fits the sizes of steps before the visits of at; ok is false where they cannot be told apart.
func (s *shifts) fit(at []int) (f found, ok bool) {
	k := len(at)
	a, b := mat.NewSymDense(k, nil), mat.NewVecDense(k, nil)
	for i, p := range at {
		if s.own[p] < leastKnown*s.weight[0]/float64(s.n) {
			return found{}, false // no group has visits enough on both sides
		}
		b.SetVec(i, s.with[p])
		for j := i; j < k; j++ {
			a.SetSym(i, j, s.gram(p, at[j]))
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(a) || chol.Cond() > 1e8 {
		return found{}, false
	}
	var x mat.VecDense
	inv := mat.NewSymDense(k, nil)
	if chol.SolveVecTo(&x, b) != nil || chol.InverseTo(inv) != nil {
		return found{}, false
	}
	f = found{at: at, rss: math.Max(0, s.rss-mat.Dot(&x, b))}
	s2 := (f.rss + visitFloor*s.weight[0]) / s.df(k)
	for i := range k {
		f.size = append(f.size, x.AtVec(i))
		f.se = append(f.se, math.Sqrt(s2*inv.At(i, i)))
	}
	return f, true
}

// room reports whether the steps leave enough visits between them.
func (s *shifts) room(at []int) bool {
	before := 0
	for _, k := range at {
		if k-before < lasting {
			return false
		}
		before = k
	}
	return s.n-before >= lasting
}

// with more steps, in order of time.
func with(at []int, more ...int) []int {
	out := append(slices.Clone(at), more...)
	slices.Sort(out)
	return out
}

// try keeps the better of best and the fit of at.
func (s *shifts) try(best found, at []int) found {
	if !s.room(at) || s.least(at) > best.rss+1e-9*s.rss {
		return best
	}
	if f, ok := s.fit(at); ok && f.rss < best.rss {
		return f
	}
	return best
}

// least returns what a fit of one or two steps leaves, but for rounding, without the trouble of a fit; 0
// where only a fit can tell.
func (s *shifts) least(at []int) float64 {
	switch len(at) {
	case 1:
		if g := s.own[at[0]]; g > 0 {
			return s.rss - s.with[at[0]]*s.with[at[0]]/g
		}
	case 2:
		a, b, c := s.own[at[0]], s.own[at[1]], s.gram(at[0], at[1])
		x, y := s.with[at[0]], s.with[at[1]]
		if det := a*b - c*c; det > 1e-6*a*b {
			return s.rss - (x*x*b-2*x*y*c+y*y*a)/det
		}
	}
	return 0
}

func (s *shifts) bestOne(now found) found {
	best := now
	for k := 1; k < s.n; k++ {
		best = s.try(best, with(now.at, k))
	}
	return s.settle(best)
}

func (s *shifts) bestTwo(now found) found {
	best := now
	stride := max(1, s.n/mostTries)
	for k := 1; k < s.n; k += stride {
		for l := k + lasting; l < s.n; l += stride {
			best = s.try(best, with(now.at, k, l))
		}
	}
	return s.settle(best)
}

// settle moves each step to its best place among the others until none moves.
func (s *shifts) settle(f found) found {
	for range 10 {
		rss := f.rss
		for i := range f.at {
			others := slices.Delete(slices.Clone(f.at), i, i+1)
			for k := 1; k < s.n; k++ {
				f = s.try(f, with(others, k))
			}
		}
		if f.rss >= rss {
			break
		}
	}
	return f
}

// better reports whether the greater set of steps is to be believed.
func (s *shifts) better(now, next found, o Options) (found, bool) {
	more := len(next.at) - len(now.at)
	if more <= 0 || s.df(len(next.at)) < 3 {
		return now, false
	}
	for i, size := range next.size {
		if math.Abs(size) < o.LeastDeg || size*size < o.LeastF*next.se[i]*next.se[i] {
			return now, false
		}
	}
	// A step has two parameters, its place and its size; so many has the smooth drift.
	if next.rss > s.smooth[min(2*len(next.at), len(s.smooth)-1)] {
		return now, false
	}
	return next, next.rss <= (1-o.LeastShare)*now.rss
}
