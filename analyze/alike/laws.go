package alike

import (
	"math"

	"limbgauge/analyze/drive"
	"limbgauge/rig"
)

// lawOf brings a figure from one condition to another.
type lawOf struct {
	name   string // in words, to stand after "by"
	factor func(at, to Conditions) factor
}

// factor is what a figure is multiplied by, with its expanded uncertainty. why says what the law asks
// for and does not find.
type factor struct {
	k, u float64
	why  string
}

// What a law leaves open, as a share of what it changes [common practice].
const (
	lawDoubt   = 0.1
	roughDoubt = 0.3 // where other things than the law's own have a part in the figure, or past a servo's ratings
)

func by1(k, doubt float64) factor { return factor{k: k, u: doubt * math.Abs(k-1)} }

var (
	torqueByLoad = lawOf{"the load torque (definition)", func(at, to Conditions) factor {
		return loadPower(at, to, 1, lawDoubt)
	}}
	strainByLoad = lawOf{"the load torque (linear viscoelasticity)", func(at, to Conditions) factor {
		return loadPower(at, to, 1, lawDoubt)
	}}
	// The motor's current grows with torque, and its heat with the current's square.
	heatByLoad = lawOf{"the square of the load torque (copper losses)", func(at, to Conditions) factor {
		return loadPower(at, to, 2, roughDoubt)
	}}
	sagByLoad = lawOf{"the current of the load torque", func(at, to Conditions) factor {
		one, two := loadPower(at, to, 1, roughDoubt), loadPower(at, to, 2, roughDoubt)
		switch {
		case one.why != "" || at.Setup.Servo.CurrentLaw == rig.CurrentMotor:
			return one
		case at.Setup.Servo.CurrentLaw == rig.CurrentDuty:
			return two
		}
		return between(one, two)
	}}
	torqueByVolts = lawOf{"the servo's stall torque", func(at, to Conditions) factor {
		a, b, doubt, why := motors(at, to)
		if why != "" {
			return factor{why: why}
		}
		return by1(a.StallNm/b.StallNm, doubt)
	}}
	speedByVolts = lawOf{"the servo's no-load speed", speed}
	// A step so small that the motor never runs at full voltage takes the same time at any, one that is
	// all full speed takes it by the speed; the figure lies between.
	timeByVolts = lawOf{"at most the servo's no-load speed", func(at, to Conditions) factor {
		s := speed(at, to)
		if s.why != "" {
			return s
		}
		return between(factor{k: 1}, factor{k: 1 / s.k, u: s.u / s.k / s.k})
	}}
	swingByInertia = lawOf{"the root of the inertia", func(at, to Conditions) factor {
		a, b := inertia(at.Setup.Load), inertia(to.Setup.Load)
		if !known(a) || !known(b) {
			return factor{why: "the set-up states no inertia"}
		}
		return by1(math.Sqrt(a/b), lawDoubt)
	}}
)

// loadPower returns the ratio of the load torques to a power.
func loadPower(at, to Conditions, power, doubt float64) factor {
	a, b := loads(at, to)
	if !known(a) || !known(b) {
		return factor{why: "a load of nothing tells nothing of others"}
	}
	return by1(math.Pow(b/a, power), doubt)
}

// between returns the middle of two factors, and half their distance as doubt.
func between(a, b factor) factor {
	return factor{k: (a.k + b.k) / 2, u: math.Abs(a.k-b.k)/2 + math.Max(a.u, b.u)}
}

// motors returns the servo at both voltages.
func motors(at, to Conditions) (a, b drive.Motor, doubt float64, why string) {
	var rated []drive.Rating
	for _, r := range at.Setup.Servo.Rated {
		rated = append(rated, drive.Rating(r))
	}
	idle := at.Setup.Servo.IdleA
	a, errA := drive.At(rated, idle, at.SupplyV)
	b, errB := drive.At(rated, idle, to.SupplyV)
	if errA != nil || errB != nil || !known(a.StallNm) || !known(b.StallNm) {
		return a, b, 0, "servo.rated does not say what that does"
	}
	doubt = lawDoubt
	if a.Basis == drive.Scaled || b.Basis == drive.Scaled {
		doubt = roughDoubt
	}
	return a, b, doubt, ""
}

// speed returns the ratio of the speeds at both voltages. The load may help or hinder the motor by as
// much as it weighs, which is part of the doubt.
func speed(at, to Conditions) factor {
	a, b, doubt, why := motors(at, to)
	if why == "" && (!known(a.NoLoadDegPerS) || !known(b.NoLoadDegPerS)) {
		why = "servo.rated does not say what that does"
	}
	if why != "" {
		return factor{why: why}
	}
	f := by1(b.NoLoadDegPerS/a.NoLoadDegPerS, doubt)
	torque, _ := loads(at, at)
	if !known(torque) {
		return f
	}
	torque /= at.Setup.Ratio()
	far := 0.0
	for _, t := range []float64{-torque, torque} {
		slow, fast := a.Speed(t), b.Speed(t)
		if !(slow > 0) || !(fast > 0) {
			return factor{why: "the load is more than the servo turns"}
		}
		far = math.Max(far, math.Abs(fast/slow-f.k))
	}
	f.u += far
	return f
}
