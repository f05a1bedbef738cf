package play

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"limbgauge/analyze/stats"
)

// solution is the least-squares fit for one choice of friction and knee.
type solution struct {
	f, m  float64
	coef  []float64
	cov   *mat.SymDense
	rss   float64
	rows  []row
	names []string
}

// row is one reading with the torque the stretch carries after friction.
type row struct {
	tau, y float64
	wave   float64 // cos of the angle less about its mean over a sweep
	p      Point
}

// search solves for the best of some frictions and knees.
func search(points []Point, tmax float64, fs, ms []float64, o Options) *solution {
	d := newDesign(points, tmax, o)
	if len(d.rows) < 6 {
		return nil
	}
	found := false
	var bestF, bestM, best float64
	for _, f := range fs {
		if f > o.FrictionMax {
			continue
		}
		d.friction(f)
		for _, m := range ms {
			d.kneeAt(m)
			if rss, ok := d.rss(m, o.shut); ok && (!found || rss < best) {
				found, bestF, bestM, best = true, f, m, rss
			}
		}
	}
	if !found {
		return nil
	}
	return solve(build(points, tmax, bestF, o), bestF, bestM, o)
}

func build(points []Point, tmax, f float64, o Options) []row {
	rows := make([]row, 0, len(points))
	for _, p := range points {
		tau := p.Load
		if o.Friction && !p.Static {
			tau -= f * float64(p.Dir)
		}
		// The set of points must not change with f, else residuals cannot be compared: the load
		// alone decides which points count.
		if math.Abs(p.Load) < o.Lowest*tmax {
			continue
		}
		rows = append(rows, row{tau: tau, y: p.Defl, wave: math.Cos(p.Angle*math.Pi/180) - 0.8, p: p})
	}
	return rows
}

// solve fits the columns that the rows can tell apart. With o.opens a step that came out negative is
// left out, as no dead zone is narrower than nothing.
func solve(rows []row, f, m float64, o Options) *solution {
	both := signs(rows)
	names := []string{"offset", "slope"}
	if both && !o.shut {
		names = append(names, "step")
	}
	if !math.IsNaN(m) && o.bend == 0 {
		names = append(names, "knee")
	}
	moving, standing := false, false
	for i := range rows {
		if rows[i].p.Static {
			standing = true
		} else {
			moving = true
		}
	}
	if !o.Friction && moving && standing && both {
		names = append(names, "gap")
	}
	if o.Wave && both {
		names = append(names, "wave")
	}
	n, k := len(rows), len(names)
	if n < k+3 {
		return nil
	}
	cols := make([][]float64, k)
	for c, name := range names {
		cols[c] = make([]float64, n)
		for i := range rows {
			cols[c][i] = column(name, &rows[i], m)
		}
		if name == "slope" && o.bend > 0 {
			for i := range rows {
				cols[c][i] += o.bend * column("knee", &rows[i], m)
			}
		}
	}
	y := make([]float64, n)
	for i := range rows {
		y[i] = rows[i].y
	}
	x, cov, rss, ok := leastSquares(cols, y)
	if !ok {
		return nil
	}
	if both && o.opens && !o.shut && x[2] < 0 {
		o.shut = true
		return solve(rows, f, m, o)
	}
	return &solution{f: f, m: m, coef: x, cov: cov, rss: rss, rows: rows, names: names}
}

func column(name string, r *row, m float64) float64 {
	s := stats.Sign(r.tau)
	switch name {
	case "offset":
		return 1
	case "slope":
		return r.tau
	case "step":
		return s
	case "knee":
		return s * math.Max(0, math.Abs(r.tau)-m)
	case "gap":
		if r.p.Static {
			return 0
		}
		return -float64(r.p.Dir)
	case "wave":
		return r.wave
	}
	panic("play: no column " + name)
}

// signs says whether the load pressed both flanks. The load decides, not the torque after friction:
// friction alone does not open a gap that the load holds shut.
func signs(rows []row) bool {
	var up, down int
	for i := range rows {
		if load := rows[i].p.Load; load > 0 {
			up++
		} else if load < 0 {
			down++
		}
	}
	return up >= 3 && down >= 3
}

func (s *solution) get(name string) float64 {
	for i, n := range s.names {
		if n == name {
			return s.coef[i]
		}
	}
	return 0
}

// se is the standard error of a coefficient under a covariance for unit variance of a row.
func (s *solution) se(cov *mat.SymDense, name string, s2 float64) float64 {
	for i, n := range s.names {
		if n == name {
			return math.Sqrt(s2 * cov.At(i, i))
		}
	}
	return 0
}

// leastSquares fits y by the columns. Their normal equations serve, since no more than six columns of
// like size are told apart and the search solves thousands of them. cov is (AᵀA)⁻¹; ok is false where
// the columns cannot be told apart.
func leastSquares(cols [][]float64, y []float64) (x []float64, cov *mat.SymDense, rss float64, ok bool) {
	x, cov, ok = normal(len(cols), func(i, j int) float64 { return dot(cols[i], cols[j]) }, func(i int) float64 { return dot(cols[i], y) })
	if !ok {
		return nil, nil, 0, false
	}
	return x, cov, residual(cols, x, y), true
}

// normal solves the normal equations of k columns from their products with one another and with y.
func normal(k int, product func(i, j int) float64, with func(i int) float64) (x []float64, cov *mat.SymDense, ok bool) {
	const worst = 1e13 // condition of the scaled normal equations
	scale, rhs := make([]float64, k), make([]float64, k)
	for i := range k {
		scale[i] = 1 / math.Sqrt(product(i, i))
		rhs[i] = with(i) * scale[i]
	}
	ata := mat.NewSymDense(k, nil)
	for i := range k {
		for j := i; j < k; j++ {
			ata.SetSym(i, j, product(i, j)*scale[i]*scale[j])
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(ata) || !(chol.Cond() < worst) {
		return nil, nil, false
	}
	cov = mat.NewSymDense(k, nil)
	var v mat.VecDense
	if chol.InverseTo(cov) != nil || chol.SolveVecTo(&v, mat.NewVecDense(k, rhs)) != nil {
		return nil, nil, false
	}
	x = make([]float64, k)
	for i := range x {
		x[i] = v.AtVec(i) * scale[i]
		for j := i; j < k; j++ {
			cov.SetSym(i, j, cov.At(i, j)*scale[i]*scale[j])
		}
	}
	return x, cov, true
}

// residual is the sum of squares that coefficients leave of y.
func residual(cols [][]float64, x, y []float64) float64 {
	left := slices.Clone(y)
	for c, col := range cols {
		k := x[c]
		for i, v := range col {
			left[i] -= k * v
		}
	}
	rss := 0.0
	for _, d := range left {
		rss += d * d
	}
	return rss
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i, v := range a {
		s += v * b[i]
	}
	return s
}
