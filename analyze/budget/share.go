package budget

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Point is a place seen from above.
type Point [2]float64

// tipSlack is how far, m, a centre of mass may lie outside its support before the robot counts as
// tipping: rounding, no more.
const tipSlack = 1e-9

// Shares returns which part of a weight each foot carries when it acts at a place. Three feet are
// statics alone; more are taken as equal springs under a stiff body, which is the solution of least
// squares of the forces among all that balance; a foot that would have to pull is lifted. When the
// place lies outside the support the robot tips over: out tells how far, m, and the shares are those
// of the nearest place that is held.
func Shares(feet []Point, at Point) (shares []float64, out float64) {
	at, out = held(feet, at)
	shares = make([]float64, len(feet))
	on := make([]int, len(feet))
	for i := range on {
		on[i] = i
	}
	for len(on) > 0 {
		f := springs(feet, on, at)
		low := 0
		for i := range f {
			if f[i] < f[low] {
				low = i
			}
		}
		if f[low] < -1e-9 && len(on) > 1 {
			on = append(on[:low:low], on[low+1:]...)
			continue
		}
		for i, k := range on {
			shares[k] = math.Max(0, f[i])
		}
		break
	}
	return shares, out
}

// springs solves Σf = 1, Σf·x = x, Σf·y = y with the least sum of squares.
func springs(feet []Point, on []int, at Point) []float64 {
	a := mat.NewDense(3, len(on), nil)
	for c, k := range on {
		a.Set(0, c, 1)
		a.Set(1, c, feet[k][0]-at[0])
		a.Set(2, c, feet[k][1]-at[1])
	}
	var svd mat.SVD
	svd.Factorize(a, mat.SVDThin)
	var x mat.Dense
	svd.SolveTo(&x, mat.NewDense(3, 1, []float64{1, 0, 0}), svd.Rank(1e-9))
	return x.RawMatrix().Data
}

// WorstShare returns the greatest part that one foot may have to carry when the ground is uneven, so
// that any three of the feet may bear all. 1 with one foot, as Shares says with two.
func WorstShare(feet []Point, at Point) float64 {
	if len(feet) < 3 {
		s, _ := Shares(feet, at)
		return greatest(s)
	}
	worst := 0.0
	for i := range feet {
		for j := range i {
			for k := range j {
				three := []Point{feet[i], feet[j], feet[k]}
				if s, out := Shares(three, at); out <= tipSlack {
					worst = math.Max(worst, greatest(s))
				}
			}
		}
	}
	return worst
}

func greatest(v []float64) float64 {
	most := math.Inf(-1)
	for _, x := range v {
		most = math.Max(most, x)
	}
	return most
}

// held returns the place of the support that is nearest to another, and how far that is.
func held(feet []Point, at Point) (Point, float64) {
	if inside(feet, at) {
		return at, 0
	}
	best, far := at, math.Inf(1)
	for i, a := range feet {
		for _, b := range feet[i:] {
			p := nearest(a, b, at)
			if d := math.Hypot(p[0]-at[0], p[1]-at[1]); d < far {
				best, far = p, d
			}
		}
	}
	return best, far
}

// inside says whether a place lies in one of the triangles the feet span.
func inside(feet []Point, at Point) bool {
	for i := range feet {
		for j := range i {
			for k := range j {
				a, b, c := turn(feet[i], feet[j], at), turn(feet[j], feet[k], at), turn(feet[k], feet[i], at)
				if whole := turn(feet[i], feet[j], feet[k]); whole != 0 && a*whole >= 0 && b*whole >= 0 && c*whole >= 0 {
					return true
				}
			}
		}
	}
	return false
}

func turn(a, b, c Point) float64 {
	return (b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0])
}

func nearest(a, b, at Point) Point {
	dx, dy := b[0]-a[0], b[1]-a[1]
	l := dx*dx + dy*dy
	if l == 0 {
		return a
	}
	s := math.Max(0, math.Min(1, ((at[0]-a[0])*dx+(at[1]-a[1])*dy)/l))
	return Point{a[0] + s*dx, a[1] + s*dy}
}
