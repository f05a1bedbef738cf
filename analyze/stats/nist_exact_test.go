package stats

import "math/big"

// What the readings, once they are doubles, determine: the certified figures are those of decimal
// numbers, and 1000000000000.4 is no double. Computed with 2000 bits, by formulas a double must not
// be trusted with, so that they share nothing with what is tested.
const exactBits = 2000

func exact(v float64) *big.Float { return new(big.Float).SetPrec(exactBits).SetFloat64(v) }

func double64(v *big.Float) float64 { f, _ := v.Float64(); return f }

func add(a, b *big.Float) *big.Float { return exact(0).Add(a, b) }
func sub(a, b *big.Float) *big.Float { return exact(0).Sub(a, b) }
func mul(a, b *big.Float) *big.Float { return exact(0).Mul(a, b) }
func quo(a, b *big.Float) *big.Float { return exact(0).Quo(a, b) }

// exactMoments returns mean, standard deviation and lag-one autocorrelation.
func exactMoments(x []float64) (mean, sd, r1 float64) {
	n, sum := exact(float64(len(x))), exact(0)
	for _, v := range x {
		sum = add(sum, exact(v))
	}
	m, ss, lag := quo(sum, n), exact(0), exact(0)
	for i, v := range x {
		d := sub(exact(v), m)
		ss = add(ss, mul(d, d))
		if i > 0 {
			lag = add(lag, mul(d, sub(exact(x[i-1]), m)))
		}
	}
	s := exact(0).Sqrt(quo(ss, sub(n, exact(1))))
	return double64(m), double64(s), double64(quo(lag, ss))
}

// exactF returns the F of a one-way analysis of variance.
func exactF(groups [][]float64) float64 {
	n, all, squares, between := 0, exact(0), exact(0), exact(0)
	for _, g := range groups {
		sum := exact(0)
		for _, v := range g {
			sum, squares = add(sum, exact(v)), add(squares, mul(exact(v), exact(v)))
		}
		n, all = n+len(g), add(all, sum)
		between = add(between, quo(mul(sum, sum), exact(float64(len(g)))))
	}
	within := sub(squares, between)
	between = sub(between, quo(mul(all, all), exact(float64(n))))
	k := len(groups)
	return double64(quo(quo(between, exact(float64(k-1))), quo(within, exact(float64(n-k)))))
}

// exactFit solves the normal equations and returns coefficients, their standard deviations and the
// residual one.
func exactFit(cols [][]float64, y []float64) (coef, sd []float64, s float64) {
	p, n := len(cols), len(y)
	inner := func(a, b []float64) *big.Float {
		sum := exact(0)
		for i := range a {
			sum = add(sum, mul(exact(a[i]), exact(b[i])))
		}
		return sum
	}
	// [AᵀA | Aᵀy | I], brought to [I | x | (AᵀA)⁻¹].
	m := make([][]*big.Float, p)
	for i := range m {
		m[i] = make([]*big.Float, 2*p+1)
		for j := range cols {
			m[i][j], m[i][p+1+j] = inner(cols[i], cols[j]), exact(0)
		}
		m[i][p], m[i][p+1+i] = inner(cols[i], y), exact(1)
	}
	for i := range m {
		pivot := m[i][i]
		for j := range m[i] {
			m[i][j] = quo(m[i][j], pivot)
		}
		for k := range m {
			if factor := m[k][i]; k != i {
				for j := range m[k] {
					m[k][j] = sub(m[k][j], mul(factor, m[i][j]))
				}
			}
		}
	}
	rss := exact(0)
	for i, v := range y {
		r := exact(v)
		for j := range cols {
			r = sub(r, mul(m[j][p], exact(cols[j][i])))
		}
		rss = add(rss, mul(r, r))
	}
	variance := quo(rss, exact(float64(n-p)))
	for j := range cols {
		coef = append(coef, double64(m[j][p]))
		sd = append(sd, double64(exact(0).Sqrt(mul(variance, m[j][p+1+j]))))
	}
	return coef, sd, double64(exact(0).Sqrt(variance))
}
