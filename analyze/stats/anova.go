package stats

import (
	"fmt"
	"math"
)

// Anova is a one-way analysis of variance: does the spread between groups (assemblies, cycles)
// exceed what the spread within them explains.
type Anova struct {
	SSBetween, SSWithin float64
	DFBetween, DFWithin float64
	F, P                float64
	SDWithin            float64 // repeatability within a group
	SDBetween           float64 // spread of the group means beyond repeatability; 0 when there is none to see
}

// OneWay analyses groups of independent readings. It needs two groups and one reading more than
// groups. SDBetween is from the expected mean squares, √((MS_b - MS_w)/n₀), n₀ the mean group size
// corrected for unequal groups (ISO 5725-2:2019, 7.4).
func OneWay(groups [][]float64) (Anova, error) {
	var n, k, n2 float64
	for _, g := range groups {
		if len(g) > 0 {
			m := float64(len(g))
			n, k, n2 = n+m, k+1, n2+m*m
		}
	}
	if k < 2 || n <= k {
		return Anova{}, fmt.Errorf("analysis of variance of %g readings in %g groups: %w", n, k, ErrTooFew)
	}
	// Readings are taken from the first one off, which is exact for numbers that share many digits.
	origin := math.NaN()
	var grand float64
	means := make([]float64, len(groups))
	a := Anova{DFBetween: k - 1, DFWithin: n - k}
	for i, g := range groups {
		d := make([]float64, len(g))
		for j, v := range g {
			if math.IsNaN(origin) {
				origin = v
			}
			d[j] = v - origin
			grand += d[j]
		}
		if len(d) == 0 {
			continue
		}
		means[i] = Mean(d)
		if len(d) > 1 {
			a.SSWithin += Variance(d) * float64(len(d)-1)
		}
	}
	grand /= n
	for i, g := range groups {
		a.SSBetween += float64(len(g)) * (means[i] - grand) * (means[i] - grand)
	}
	msb, msw := a.SSBetween/a.DFBetween, a.SSWithin/a.DFWithin
	a.F = msb / msw
	a.P = fTail(a.F, a.DFBetween, a.DFWithin)
	a.SDWithin = math.Sqrt(msw)
	a.SDBetween = math.Sqrt(math.Max(0, (msb-msw)/((n-n2/n)/(k-1))))
	return a, nil
}
