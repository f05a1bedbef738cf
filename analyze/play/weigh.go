package play

import (
	"math"

	"limbgauge/analyze/stats"
)

// scatter is how the rows of one kind lie about the model.
type scatter struct {
	n       int
	sum     float64 // of squares
	stretch float64 // rows that count as one independent reading
}

// scatters tells it for stops and for stretches of ramps. What neighbouring stretches share, vibration
// or a bend the model lacks, shows in the correlation of their residuals: the variance of a mean is
// 1 + 2·Σ(1-k/K)·ρ_k times that of independent readings (Bartlett's weights; Newey and West,
// Econometrica 55 (1987), from memory).
func (s *solution) scatters() (out [2]scatter) {
	res := make([]float64, len(s.rows))
	s.residuals(res)
	var lagged [sharedLags]float64
	for i := range s.rows {
		r := &s.rows[i]
		k := &out[side(r.Static)]
		k.n++
		k.sum += res[i] * res[i]
		if r.Static {
			continue
		}
		for lag := 1; lag < sharedLags && lag <= i; lag++ {
			b := &s.rows[i-lag]
			if b.block != r.block || b.Dir != r.Dir {
				break
			}
			lagged[lag] += res[i] * res[i-lag]
		}
	}
	for i := range out {
		out[i].stretch = 1
	}
	if k := &out[1]; k.sum > 0 {
		for lag := 1; lag < sharedLags; lag++ {
			k.stretch += 2 * (1 - float64(lag)/sharedLags) * lagged[lag] / k.sum
		}
		k.stretch = math.Max(1, k.stretch)
	}
	return out
}

// weigh sets the weight of each row to one over its variance, as the residuals show it, and over how
// many of its kind count as one. So the sum of weighted squares counts independent readings, and
// (AᵀWA)⁻¹ is the covariance.
//
// Where the servo is in the path stops and ramps weigh alike: its lag grows with the load in a way that
// repeats from pass to pass, so that ramps scatter little and yet err more than stops.
func (s *solution) weigh(alike bool) {
	kinds := s.scatters()
	total := float64(len(s.rows))
	free := math.Max(2, total-float64(len(s.cols))) / total
	floor := s.floor()
	var w [2]float64
	for i, k := range kinds {
		if k.n > 0 {
			w[i] = 1 / (k.stretch * math.Max(floor, k.sum/(float64(k.n)*free)))
		}
	}
	if alike && kinds[0].n > 0 && kinds[1].n > 0 {
		w[0] = (w[0]*float64(kinds[0].n) + w[1]*float64(kinds[1].n)) / total
		w[1] = w[0]
	}
	for i := range s.rows {
		s.rows[i].w = w[side(s.rows[i].Static)]
	}
}

// independent returns how many of the rows count as independent.
func (s *solution) independent() float64 {
	n := 0.0
	for _, k := range s.scatters() {
		n += float64(k.n) / k.stretch
	}
	return n
}

// sharedLags is over how many stretches residuals may be alike.
const sharedLags = 6

// floor is the least variance told from rounding of the readings, deg².
func (s *solution) floor() float64 {
	most := 0.0
	for i := range s.rows {
		most = math.Max(most, math.Abs(s.rows[i].Defl))
	}
	return 1e-22*most*most + 1e-30
}

const (
	// fewReadings of a kind do not show which of them lie far off.
	fewReadings = 12
	// farOff is how many robust standard deviations a row lies off the model to be left out.
	farOff = 5.0
	// mostOff is the share of rows that may be: more, and it is the model that is wrong.
	mostOff = 0.2
)

// inliers returns the rows without those far off, nil where none is or too many are.
func (s *solution) inliers() []row {
	res := make([]float64, len(s.rows))
	s.residuals(res)
	var kind [2][]float64
	for i, r := range s.rows {
		kind[side(r.Static)] = append(kind[side(r.Static)], res[i])
	}
	var limit [2]float64
	for k, v := range kind {
		limit[k] = math.Inf(1)
		if len(v) >= fewReadings {
			limit[k] = farOff * stats.RobustSD(v)
		}
	}
	small := math.Sqrt(s.floor()) * 1e3
	keep := make([]row, 0, len(s.rows))
	for i, r := range s.rows {
		if math.Abs(res[i]) <= limit[side(r.Static)]+small {
			keep = append(keep, r)
		}
	}
	off := len(s.rows) - len(keep)
	if off == 0 || float64(off) > mostOff*float64(len(s.rows)) {
		return nil
	}
	return keep
}
