package play

import (
	"math"
	"slices"
)

// solution is the least-squares fit of one model to the rows.
type solution struct {
	rows []row
	cols []col
	f, m float64 // friction and knee; m is 0 without one
	bend float64 // growth of the slope at the knee where that is given, as a share
	x    [nCols]float64
	fac  factor
	rss  float64 // weighted; with weights of independent rows it counts them
	// lagged is true where the rows could tell a lag.
	lagged bool
	prior
}

// prior is what is known of coefficients before the run, as 1/variance.
type prior struct{ lag, bow float64 }

func (s *solution) place(c col) int { return slices.Index(s.cols, c) }

func (s *solution) get(c col) float64 {
	if i := s.place(c); i >= 0 {
		return s.x[i]
	}
	return 0
}

func (s *solution) ridge(cols []col) (r [nCols]float64) {
	for i, c := range cols {
		switch c {
		case cLag:
			r[i] = s.lag
		case cBow:
			r[i] = s.bow
		}
	}
	return r
}

func without(cols []col, drop col) []col {
	return slices.DeleteFunc(slices.Clone(cols), func(c col) bool { return c == drop })
}

// want says which model is to be fitted.
type want struct {
	m, bend float64
	opens   bool // the step may not be negative: no dead zone is narrower than nothing
	fixed   bool // friction stays as it is
}

// fit solves the model, friction by a few steps of Gauss and Newton; from is a fit to start from.
func (from *solution) fit(rows []row, cols []col, w want) *solution {
	s := &solution{rows: rows, f: from.f, m: w.m, bend: w.bend, prior: from.prior}
	s.cols = slices.Clone(cols)
	s.lagged = from.lagged || slices.Contains(cols, cLag)
	if w.m > 0 && w.bend == 0 {
		s.cols = append(s.cols, cKnee)
	}
	if w.fixed {
		s.cols = without(s.cols, cShift)
	}
	c, d := from.get(cSlope), from.get(cKnee)
	if w.bend > 0 {
		d = w.bend * c
	} else if w.m > 0 && d == 0 {
		d = c / 2
	}
	for range 8 {
		if len(rows) < len(s.cols)+3 {
			return nil
		}
		var n normal
		s.sums(c, d, func(*row) *normal { return &n })
		ridge := s.ridge(s.cols)
		var ok bool
		if s.fac, ok = n.factorize(len(s.cols), &ridge); !ok {
			// What cannot be told apart is given up in this order.
			for _, k := range []col{cBow, cRest, cLag, cGap, cWave} {
				if slices.Contains(s.cols, k) {
					s.cols = without(s.cols, k)
					ok = true
					break
				}
			}
			if !ok {
				return nil
			}
			continue
		}
		s.x = s.fac.solve(&n.b)
		if w.opens && s.get(cStep) < 0 {
			s.cols = without(s.cols, cStep)
			continue
		}
		if s.get(cLag) < 0 { // nothing runs ahead of its load
			s.cols = without(s.cols, cLag)
			continue
		}
		i := s.place(cShift)
		if i < 0 {
			break
		}
		move := s.x[i]
		s.f += move
		c, d = s.get(cSlope), s.get(cKnee)
		if w.bend > 0 {
			d = w.bend * c
		}
		if math.Abs(move) < 1e-4*math.Abs(s.f)+1e-7 {
			break
		}
	}
	s.rss = s.residuals(nil)
	return s
}

// sums adds every row to the normal equations that into returns for it.
func (s *solution) sums(c, d float64, into func(*row) *normal) {
	var x [nCols]float64
	for i := range s.rows {
		r := &s.rows[i]
		r.fill(&x, s.cols, s.f, s.m, c, d, s.bend)
		into(r).add(s.cols, &x, r.Defl, r.w)
	}
}

// residuals fills out, where it is given, and returns the weighted sum of squares with what the prior
// adds. At the end of a fit what is left of a step of friction is too small to matter.
func (s *solution) residuals(out []float64) (rss float64) {
	var x [nCols]float64
	c, d := s.get(cSlope), s.get(cKnee)
	shift := s.place(cShift)
	for i := range s.rows {
		r := &s.rows[i]
		r.fill(&x, s.cols, s.f, s.m, c, d, s.bend)
		e := r.Defl
		for k, name := range s.cols {
			if k != shift {
				e -= s.x[k] * x[name]
			}
		}
		if out != nil {
			out[i] = e
		}
		rss += r.w * e * e
	}
	ridge := s.ridge(s.cols)
	for k := range s.cols {
		rss += ridge[k] * s.x[k] * s.x[k]
	}
	return rss
}

// rough searches the friction on a grid, flanks and all: it is where the steps begin.
func rough(rows []row, cols []col, tmax float64, o Options) *solution {
	plain := slices.DeleteFunc(slices.Clone(cols), func(c col) bool { return c == cShift || c == cLag || c == cBow || c == cRest })
	at := func(f float64) *solution {
		if o.Friction {
			for i := range rows {
				if r := &rows[i]; !r.Static {
					r.flank = 1
					if r.Load-f*float64(r.Dir) < 0 {
						r.flank = -1
					}
				}
			}
		}
		return (&solution{f: f}).fit(rows, plain, want{fixed: true, opens: true})
	}
	best := at(0)
	if !o.Friction || !slices.Contains(cols, cShift) || best == nil {
		return best
	}
	top := math.Min(o.FrictionMax, frictionMost*tmax)
	const coarse = 48
	for i := 1; i <= coarse; i++ {
		if s := at(top * float64(i) / coarse); s != nil && s.rss < best.rss {
			best = s
		}
	}
	middle := best.f
	for i := -5; i <= 5; i++ {
		if f := middle + top*float64(i)/(5*coarse); f >= 0 && f <= top {
			if s := at(f); s != nil && s.rss < best.rss {
				best = s
			}
		}
	}
	return best
}
