package vibration

import (
	"fmt"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"

	"limbgauge/analyze/stats"
)

// MatrixPencil returns the modes of evenly spaced samples y, dt s apart, that oscillate (Hua and
// Sarkar 1990): the singular vectors of the Hankel matrix of y, two per mode, whose shift has the
// poles as eigenvalues. Take the rest off y first. The pencil is a third of the samples long.
func MatrixPencil(y []float64, dt float64, modes int) ([]Mode, error) {
	p, err := newPencil(y)
	if err != nil {
		return nil, err
	}
	return p.modes(y, dt, modes)
}

// pencil is the Hankel matrix of some samples in singular vectors.
type pencil struct {
	n, l   int
	values []float64
	v      mat.Dense
}

func newPencil(y []float64) (*pencil, error) {
	p := &pencil{n: len(y), l: len(y) / 3}
	if p.l < 3 {
		return nil, fmt.Errorf("matrix pencil on %d samples: %w", p.n, stats.ErrTooFew)
	}
	h := mat.NewDense(p.n-p.l, p.l+1, nil)
	for i := range p.n - p.l {
		for j := range p.l + 1 {
			h.Set(i, j, y[i+j])
		}
	}
	var svd mat.SVD
	if !svd.Factorize(h, mat.SVDThin) {
		return nil, fmt.Errorf("matrix pencil: %w", stats.ErrSingular)
	}
	svd.VTo(&p.v)
	p.values = svd.Values(nil)
	return p, nil
}

func (p *pencil) modes(y []float64, dt float64, modes int) ([]Mode, error) {
	order := 2 * modes
	if p.l < order+1 || p.n-p.l < order {
		return nil, fmt.Errorf("matrix pencil of %d modes on %d samples: %w", modes, p.n, stats.ErrTooFew)
	}
	if p.values[order-1] <= 1e-13*p.values[0] {
		return nil, fmt.Errorf("matrix pencil: the samples hold fewer than %d modes: %w", modes, stats.ErrSingular)
	}
	var shift mat.Dense
	if err := shift.Solve(p.v.Slice(0, p.l, 0, order), p.v.Slice(1, p.l+1, 0, order)); err != nil {
		return nil, fmt.Errorf("matrix pencil: %w", stats.ErrSingular)
	}
	var eig mat.Eigen
	if !eig.Factorize(&shift, mat.EigenNone) {
		return nil, fmt.Errorf("matrix pencil: no poles were found")
	}
	return modesOf(y, dt, eig.Values(nil)), nil
}

// modesOf turns poles of the z plane into modes, with amplitudes by least squares.
func modesOf(y []float64, dt float64, poles []complex128) []Mode {
	var out []Mode
	var cols [][]float64
	for _, z := range poles {
		s := cmplx.Log(z) / complex(dt, 0)
		if imag(s) <= 0 {
			continue
		}
		re, im := make([]float64, len(y)), make([]float64, len(y))
		p := complex(1, 0)
		for i := range y {
			re[i], im[i] = real(p), imag(p)
			p *= z
		}
		cols = append(cols, re, im)
		out = append(out, Mode{DampedHz: imag(s) / (2 * math.Pi), NaturalHz: cmplx.Abs(s) / (2 * math.Pi),
			Damping: -real(s) / cmplx.Abs(s)})
	}
	if fit, err := stats.OLS(cols, y); err == nil {
		for i := range out {
			out[i].Amplitude = math.Hypot(fit.Coef[2*i], fit.Coef[2*i+1])
		}
	}
	return out
}
