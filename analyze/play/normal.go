package play

import "math"

// normal holds the normal equations of a set of rows, for columns chosen from nCols. Those of cycles
// add up to those of a run, so a run with some cycles repeated and others left out costs a few sums.
type normal struct {
	a [nCols * (nCols + 1) / 2]float64 // lower triangle of AᵀWA, by rows
	b [nCols]float64                   // AᵀWy
}

func (s *normal) add(cols []col, x *[nCols]float64, y, w float64) {
	at := 0
	for i, ci := range cols {
		wx := w * x[ci]
		s.b[i] += wx * y
		for _, cj := range cols[:i+1] {
			s.a[at] += wx * x[cj]
			at++
		}
	}
}

func (s *normal) plus(o *normal, times float64) {
	for i := range s.a {
		s.a[i] += times * o.a[i]
	}
	for i := range s.b {
		s.b[i] += times * o.b[i]
	}
}

// factor is the Cholesky factor of scaled normal equations.
type factor struct {
	k     int
	l     [nCols * (nCols + 1) / 2]float64
	scale [nCols]float64
}

// leastPivot is the least share of a column that the others must leave for it to count as told.
const leastPivot = 1e-9

// factorize takes the first k columns; ridge is added to their diagonal (0 where nothing is known of
// a coefficient beforehand). It fails where columns cannot be told apart.
func (s *normal) factorize(k int, ridge *[nCols]float64) (f factor, ok bool) {
	f.k = k
	for i := range k {
		d := s.a[i*(i+1)/2+i] + ridge[i]
		if !(d > 0) {
			return f, false
		}
		f.scale[i] = 1 / math.Sqrt(d)
	}
	for i := range k {
		ri := i * (i + 1) / 2
		for j := 0; j <= i; j++ {
			rj := j * (j + 1) / 2
			v := s.a[ri+j]
			if i == j {
				v += ridge[i]
			}
			v *= f.scale[i] * f.scale[j]
			for q := range j {
				v -= f.l[ri+q] * f.l[rj+q]
			}
			if i == j {
				if !(v > leastPivot) {
					return f, false
				}
				f.l[ri+i] = math.Sqrt(v)
			} else {
				f.l[ri+j] = v / f.l[rj+j]
			}
		}
	}
	return f, true
}

// solve returns the coefficients for a right-hand side.
func (f *factor) solve(b *[nCols]float64) (x [nCols]float64) {
	for i := range f.k {
		ri := i * (i + 1) / 2
		v := b[i] * f.scale[i]
		for q := range i {
			v -= f.l[ri+q] * x[q]
		}
		x[i] = v / f.l[ri+i]
	}
	for i := f.k - 1; i >= 0; i-- {
		v := x[i]
		for q := i + 1; q < f.k; q++ {
			v -= f.l[q*(q+1)/2+i] * x[q]
		}
		x[i] = v / f.l[i*(i+1)/2+i]
	}
	for i := range f.k {
		x[i] *= f.scale[i]
	}
	return x
}

// inverse returns column i of (AᵀWA + ridge)⁻¹.
func (f *factor) inverse(i int) [nCols]float64 {
	var e [nCols]float64
	e[i] = 1
	return f.solve(&e)
}
