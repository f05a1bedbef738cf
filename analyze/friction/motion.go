package friction

import (
	"fmt"
	"math"

	"limbgauge/analyze/filter"
	"limbgauge/analyze/stats"
	"limbgauge/rig"
)

// Motion is a motion ready for fitting: evenly spaced, smoothed alike, ends dropped.
type Motion struct {
	Angle  []float64 // rad
	Speed  []float64 // rad/s
	Acc    []float64 // rad/s²
	Torque []float64 // N·m, what the drive gave
	// Thin is how many of these samples make one independent reading; 1 when they are independent.
	Thin int
}

// Recipe says how samples become a Motion.
type Recipe struct {
	Order    int     // of the Butterworth low-pass on the angle
	CutHz    float64 // its cut-off
	Drop     int     // samples left out at either end, where the filter and the differences are not to be trusted
	DropTail bool    // drop at the end as well as at the start
	Decimate int     // keep every k-th sample of every column and the torque, after one and the same filter
}

// Prepare smooths the angle with zero phase, differentiates it twice by central differences, drops
// the ends and thins. dt is the spacing in s; resample uneven logs first (filter.Even). The
// decimation is returned in Motion.Thin and carried out by FitModel, because the columns of the
// model (sign of speed, sine of angle) have to be made before the filter, as the torque is.
func Prepare(angle, torque []float64, dt float64, r Recipe) (Motion, error) {
	if len(angle) != len(torque) {
		panic("friction: angle and torque differ in length")
	}
	low, err := filter.Butter(r.Order, r.CutHz, 1/dt)
	if err != nil {
		return Motion{}, fmt.Errorf("smooth the angle: %w", err)
	}
	q, err := low.ZeroPhase(angle)
	if err != nil {
		return Motion{}, fmt.Errorf("smooth the angle: %w", err)
	}
	v := filter.Derivative(q, dt)
	a := filter.Derivative(v, dt)
	to := len(q)
	if r.DropTail {
		to -= r.Drop
	}
	if to-r.Drop < 2*max(1, r.Decimate) {
		return Motion{}, fmt.Errorf("smooth the angle: %d samples are left between the ends: %w", to-r.Drop, stats.ErrTooFew)
	}
	return Motion{Angle: q[r.Drop:to], Speed: v[r.Drop:to], Acc: a[r.Drop:to], Torque: torque[r.Drop:to],
		Thin: max(1, r.Decimate)}, nil
}

// Join puts motions behind one another, for fitting several cycles at once without thinning.
func Join(ms ...Motion) Motion {
	var out Motion
	for _, m := range ms {
		out.Angle = append(out.Angle, m.Angle...)
		out.Speed = append(out.Speed, m.Speed...)
		out.Acc = append(out.Acc, m.Acc...)
		out.Torque = append(out.Torque, m.Torque...)
		out.Thin = m.Thin
	}
	return out
}

// Friction is the Stribeck curve: T_f = (T_c + (T_s - T_c)·e^(-(v/v_s)²))·sgn v + B·v (Armstrong-
// Hélouvry, Dupont, Canudas de Wit, Automatica 30 (1994) 1083-1138). With Static equal to Coulomb it
// is Coulomb and viscous friction. The unit of speed is that of Speed and Viscous alike.
type Friction struct {
	Coulomb, Static float64 // N·m
	Speed           float64 // v_s
	Viscous         float64 // N·m per unit of speed
}

// Torque returns the friction torque at a speed; 0 at rest, where it takes any value up to Static.
func (f Friction) Torque(v float64) float64 {
	if v == 0 {
		return 0
	}
	t := f.Coulomb
	if f.Speed > 0 {
		t += (f.Static - f.Coulomb) * math.Exp(-(v/f.Speed)*(v/f.Speed))
	}
	return math.Copysign(t, v) + f.Viscous*v
}

// Halves splits the torques of two passes over the same angle at the same speed: half the difference
// is friction, half the sum is load and offset. It holds where the drive's torque keeps its sign or
// its sign is known; in a supply current, which has none, the two change places when the load
// overhauls the friction.
func Halves(up, down float64) (frictionNm, loadNm float64) { return (up - down) / 2, (up + down) / 2 }

// GravityTorque returns m·g·l·sin(angle from hanging straight down), N·m.
func GravityTorque(massKg, leverM, fromDownRad float64) float64 {
	return massKg * rig.Gravity * leverM * math.Sin(fromDownRad)
}
