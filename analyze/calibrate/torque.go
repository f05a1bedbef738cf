package calibrate

import (
	"fmt"
	"math"
	"slices"

	"limbgauge/analyze/drive"
	"limbgauge/analyze/stats"
	"limbgauge/rig"
)

// WeightU is the relative standard uncertainty taken for mass times lever of a hung weight: half a
// millimetre on 100, some grams on 500 [common practice].
const WeightU = 0.0075

// WeightTorque returns the torque in N·m at the servo's shaft that holds a weight at an angle from
// hanging straight down: m·g·l·sin(angle)/ratio.
func WeightTorque(massKg, leverM, angleDeg, ratio float64) float64 {
	return massKg * rig.Gravity * leverM * math.Sin(angleDeg*rad) / ratio
}

// Torque fits the current at standstill under known torques and lets the evidence choose its law
// (drive.FindLaw). Readings at one torque are averaged first: friction holds part of a weight, up or
// down by how it was reached, and cancels in the mean of both approaches. Where the points do not
// decide between the laws the result says so and has no scale; the points are kept all the same.
// currentU is the relative standard uncertainty of the current's own scale, 0 when it is not known;
// it and WeightU are common to all points and add to the scale's.
func Torque(points []rig.TorquePoint, currentU float64) (t rig.TorqueScale, notes []string, err error) {
	if len(points) == 0 {
		return t, nil, fmt.Errorf("%w: there are none", ErrPoints)
	}
	t = rig.TorqueScale{Points: slices.Clone(points)}
	torque, amps := averaged(points)
	least, most := slices.Min(torque), slices.Max(torque)
	if least == most {
		return t, nil, fmt.Errorf("%w: all weights give %.3g N·m; hang another weight, or take another angle", ErrPoints, most)
	}
	if least > -0.2*most && most > 0 || most < 0.2*-least && least < 0 {
		notes = append(notes, "The weights pull to one side only: the arm's own weight and one-sided friction do not cancel. Take both sides.")
	}
	f := drive.FindLaw(torque, amps)
	if f.Law == drive.LawUnknown {
		t.Undecided = f.Reason
		return t, append(notes, "The law of the current is not decided: "+f.Reason+"."), nil
	}
	t.Law = rig.CurrentLaw(f.Law)
	scale := f.Linear
	if f.Law == drive.LawDuty {
		scale = f.Square
	}
	w := widen(scale.DF)
	power := 1.0 // of the torque in the law
	if t.Law == rig.CurrentDuty {
		power = 2
	}
	common := math.Hypot(power*WeightU, currentU)
	t.Scale, t.ScaleU = Round(scale.Value), Round(math.Hypot(w*scale.U, common*scale.Value))
	t.IdleA, t.IdleAU = Round(f.Idle.Value), Round(w*f.Idle.U)
	t.ResidualSD, t.Freedom = Round(f.Residual), int(scale.DF)
	for i := range t.Points {
		p := &t.Points[i]
		p.Residual = Round(p.CurrentA - t.Current(p.TorqueNm))
	}
	return t, notes, nil
}

// averaged returns one pair for each different torque, in rising order.
func averaged(points []rig.TorquePoint) (torque, amps []float64) {
	at := map[float64][]float64{}
	for _, p := range points {
		at[p.TorqueNm] = append(at[p.TorqueNm], p.CurrentA)
	}
	for t := range at {
		torque = append(torque, t)
	}
	slices.Sort(torque)
	for _, t := range torque {
		amps = append(amps, stats.Mean(at[t]))
	}
	return torque, amps
}

// TorqueFrom takes points from a run under the load the joint is set up with: the mean current of each
// stair stop's settled part, one point for each target and direction. s holds the readings as the
// stand sent them; base, which may be nil, corrects angle and current.
func TorqueFrom(s *rig.Series, j rig.Joint, base *rig.Calibration) ([]rig.TorquePoint, error) {
	if j.Load == nil || j.Load.MassKg*j.Load.LeverM == 0 {
		return nil, fmt.Errorf("%w: no weight is stated for the run", ErrPoints)
	}
	if s.Current == nil {
		return nil, fmt.Errorf("%w: the run holds no current", ErrPoints)
	}
	if base == nil {
		base = &rig.Calibration{}
	}
	type key struct {
		target float64
		dir    int
	}
	angles, currents := map[float64][]float64{}, map[key]mean{}
	var order []key
	err := stopMeans(s, func(target float64, dir int, angle, current mean) {
		if current.n == 0 {
			return
		}
		angles[target] = append(angles[target], base.JointAngle.Apply(angle.value))
		currents[key{target, dir}] = current
		order = append(order, key{target, dir})
	})
	var out []rig.TorquePoint
	for _, k := range order {
		// Both approaches of a target are one torque, that of the mean angle, so that they average.
		from := Round(stats.Mean(angles[k.target]) - j.Load.DownDeg)
		c := currents[k]
		out = append(out, rig.TorquePoint{TorqueNm: Round(WeightTorque(j.Load.MassKg, j.Load.LeverM, from, j.Ratio())),
			MassKg: j.Load.MassKg, LeverM: j.Load.LeverM, AngleDeg: from, ReadingA: Round(c.value),
			CurrentA: Round(base.Current.Apply(c.value)), SD: Round(c.sd), N: c.n})
	}
	return out, err
}
