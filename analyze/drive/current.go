package drive

import (
	"fmt"
	"math"

	"limbgauge/analyze/stats"
)

// Law says what the current in the supply lead follows.
type Law string

const (
	// LawUnknown: torque from current is an interval between the two laws.
	LawUnknown Law = ""
	// LawMotor: supply current equals motor current, linear in torque.
	LawMotor Law = "motor"
	// LawDuty: a switching driver takes duty times motor current from the supply. With τ = T/T_s and
	// n = ω/ω_0 the duty is τ + n, so the supply takes (τ + n)τ of the stall current (derived:
	// lossless bridge, no idle current).
	LawDuty Law = "duty"
)

// SupplyFraction returns the share of the stall current that the supply lead carries at torque
// fraction tau and speed fraction n, both positive when the motor drives; NaN for LawUnknown.
func SupplyFraction(law Law, tau, n float64) float64 {
	switch law {
	case LawMotor:
		return tau
	case LawDuty:
		return math.Max(0, tau*(tau+n))
	}
	return math.NaN()
}

// TorqueFraction is the inverse of SupplyFraction: the torque fraction behind a share of the stall current.
func TorqueFraction(law Law, share, n float64) float64 {
	switch law {
	case LawMotor:
		return share
	case LawDuty:
		// τ² + nτ = share
		return (-n + math.Sqrt(n*n+4*math.Max(0, share))) / 2
	}
	return math.NaN()
}

// SupplyCurrent returns the current in the supply lead under a torque at a speed, idle current included.
func (m Motor) SupplyCurrent(law Law, torqueNm, degPerS float64) float64 {
	return m.IdleA + (m.StallA-m.IdleA)*SupplyFraction(law, math.Abs(torqueNm)/m.StallNm, math.Abs(degPerS)/m.NoLoadDegPerS)
}

// TorqueFromSupply returns the size of the torque behind a supply current at a speed, as an
// interval: one point under a known law, the span of both laws when it is unknown. The sign cannot
// be seen in a supply current.
func (m Motor) TorqueFromSupply(law Law, amps, degPerS float64) (lo, hi float64) {
	share := math.Max(0, (amps-m.IdleA)/(m.StallA-m.IdleA))
	n := math.Abs(degPerS) / m.NoLoadDegPerS
	if law != LawUnknown {
		t := m.StallNm * TorqueFraction(law, share, n)
		return t, t
	}
	a, b := TorqueFraction(LawMotor, share, n), TorqueFraction(LawDuty, share, n)
	return m.StallNm * math.Min(a, b), m.StallNm * math.Max(a, b)
}

// LawFit is which law a run's standstill currents follow.
type LawFit struct {
	Law      Law            // LawUnknown when the evidence does not decide
	Linear   stats.Estimate // current per torque under LawMotor, A/N·m
	Square   stats.Estimate // current per torque squared under LawDuty, A/(N·m)²
	Idle     stats.Estimate // current without torque under the chosen law, A
	BICGap   float64        // BIC(square) - BIC(linear); positive speaks for LawMotor
	Levels   int            // distinct torque levels
	Reason   string         // why the law stays unknown
	Residual float64        // A, residual standard deviation under the better law
}

// decisiveBIC is how far apart two fits must be before one is believed (common practice).
const decisiveBIC = 6

// levelShare is how far apart, as a share of the span, two torques must be to count as two levels.
const levelShare = 0.05

// FindLaw fits supply current at standstill against the size of the load torque, once linearly and
// once with the square, and lets the evidence (BIC) choose. Each pair should be one stop, averaged;
// friction holds part of a load, so pairs from both directions of approach belong together. It
// needs three levels of torque and four pairs, else both laws fit.
func FindLaw(torqueNm, amps []float64) LawFit {
	if len(torqueNm) != len(amps) {
		panic("drive: torque and current differ in length")
	}
	nan := math.NaN()
	f := LawFit{BICGap: nan, Residual: nan, Linear: stats.Unseen("no fit"), Square: stats.Unseen("no fit"), Idle: stats.Unseen("no fit")}
	one, lin, sq := make([]float64, len(amps)), make([]float64, len(amps)), make([]float64, len(amps))
	for i, t := range torqueNm {
		one[i], lin[i], sq[i] = 1, math.Abs(t), t*t
	}
	f.Levels = levels(lin)
	if f.Levels < 3 || len(amps) < 4 {
		f.Reason = fmt.Sprintf("%d readings at %d levels of torque; the law needs 4 at 3 levels", len(amps), f.Levels)
		return f
	}
	a, errA := stats.OLS([][]float64{one, lin}, amps)
	b, errB := stats.OLS([][]float64{one, sq}, amps)
	if errA != nil || errB != nil {
		f.Reason = "the load torque hardly changes"
		return f
	}
	f.Linear, f.Square = a.Estimate(1), b.Estimate(1)
	f.BICGap = b.BIC() - a.BIC()
	better := a
	law := LawMotor
	if f.BICGap < 0 {
		better, law = b, LawDuty
	}
	f.Idle, f.Residual = better.Estimate(0), better.S
	switch {
	case better.Coef[1] <= 0 || !better.Estimate(1).Excludes(0):
		f.Reason = "the current does not rise with the load torque"
	case math.Abs(f.BICGap) < decisiveBIC:
		f.Reason = fmt.Sprintf("linear and square law fit alike (BIC %.1f apart)", math.Abs(f.BICGap))
	default:
		f.Law = law
	}
	return f
}

func levels(t []float64) int {
	s := stats.Sorted(t)
	if len(s) == 0 {
		return 0
	}
	gap := levelShare * (s[len(s)-1] - s[0])
	n, last := 1, s[0]
	for _, v := range s {
		if v-last > gap {
			n, last = n+1, v
		}
	}
	return n
}
