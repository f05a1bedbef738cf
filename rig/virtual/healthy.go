package virtual

import (
	"cmp"
	"math"
	"math/rand/v2"

	"limbgauge/rig"
)

const rad = math.Pi / 180

// Healthy returns a joint without fault that fits what bench.toml says of it: its sensors sit as the
// bench says. Seed 0 gives the
// typical values themselves; any other seed spreads them as one assembly differs from the next. The
// figures that bench.toml does not hold are invented.
func Healthy(j rig.Joint, seed uint64) Truth {
	rnd := rand.New(rand.NewPCG(seed, 0x6c696d62))
	spread := func(v, share float64) float64 {
		if seed == 0 {
			return v
		}
		return v * (1 + share*(2*rnd.Float64()-1))
	}
	t := Truth{
		Seed:   seed,
		Supply: Supply{OpenV: spread(6.2, 0.02), Ohm: spread(0.12, 0.2), CapacitorF: 470e-6},
		Servo:  healthyServo(j.Servo, spread),
		Bearing: Bearing{CoulombNm: spread(0.008, 0.3), ViscousNmSPerRad: spread(0.002, 0.3),
			TightWidthDeg: 4},
		Part: Part{DegPerNm: spread(1.0, 0.2), PlayDeg: 0.04, CreepDegPerNm: spread(0.05, 0.3), Damping: 0.06},
		Load: healthyLoad(j),
		Sensors: Sensors{
			Joint:         Encoder{Counts: j.Sensors.JointCounts, Mount: j.Sensors.Joint(), NoiseDeg: 0.03, Wave1Deg: spread(0.05, 0.6), Phase1Deg: spread(70, 0.9)},
			Motor:         Encoder{Counts: j.Sensors.MotorCounts, Mount: j.Sensors.Motor(), NoiseDeg: 0.03, Wave1Deg: spread(0.05, 0.6), Phase1Deg: spread(-40, 0.9)},
			CurrentNoiseA: 0.012, CurrentOffsetA: spread(0.004, 1), SupplyNoiseV: 0.004,
		},
	}
	if b := j.Belt; b != nil {
		belt := &Belt{Teeth: b.Teeth, PitchMM: b.PitchMM, Ratio: j.Ratio(), TensionN: spread(55, 0.15),
			KneeShare: 0.1, Damping: 0.06, SkipBaseN: 180, SkipPerN: 3,
			LossPerDecadeN: spread(0.8, 0.3), AgeS: 86400, LossNPerDeg: 2}
		// The spans' give is about 1 deg/N·m at the joint whatever the pulley: a builder who takes a
		// smaller pulley takes a stiffer belt, or has left this example's size.
		r := b.RadiusM() * j.Ratio()
		belt.SpanNPerM = 1 / (2 * r * r * spread(1.0, 0.15) * rad)
		t.Belt = belt
	}
	return t
}

func healthyServo(s rig.Servo, spread func(v, share float64) float64) Servo {
	out := Servo{RatedV: 6, StallNm: 1.4, NoLoadDegPerS: 420, StallA: 2.4}
	// The motor is that of the data sheet's greatest voltage: with more voltages its lines need not
	// be those of one motor, and the stand runs near the greatest.
	if n := len(s.Rated); n > 0 {
		r := s.Rated[n-1]
		out = Servo{RatedV: r.Volts, StallNm: r.StallNm, NoLoadDegPerS: r.NoLoadDegPerS, StallA: r.StallA}
	}
	out.IdleA = cmp.Or(s.IdleA, 0.12)
	out.Law = cmp.Or(s.CurrentLaw, rig.CurrentMotor)
	out.InertiaKgM2 = 2e-3
	out.GearFrictionNm = spread(0.010, 0.3)
	out.PlayDeg = spread(0.15, 0.3)
	out.MeshDegPerNm = 0.25
	out.TravelDeg = cmp.Or(s.TravelDeg, 180)
	out.PulseUS = s.PulseUS
	if out.PulseUS[1] <= out.PulseUS[0] {
		out.PulseUS = [2]int{500, 2500}
	}
	out.DeadbandUS = cmp.Or(s.DeadbandUS, 3)
	out.FullDutyDeg = 2
	out.DampingS = 0.006
	out.HuntHz = 7
	out.HeatKPerW, out.HeatS, out.AmbientC = 8, 120, 22
	return out
}

func healthyLoad(j rig.Joint) Load {
	l := Load{MassKg: 0.05, LeverM: 0.05, RangeDeg: j.RangeDeg}
	if j.Load != nil {
		l = Load{j.Load.MassKg, j.Load.LeverM, j.Load.InertiaKgM2, j.Load.DownDeg, j.RangeDeg}
	}
	if l.InertiaKgM2 <= 0 {
		l.InertiaKgM2 = l.MassKg * l.LeverM * l.LeverM
	}
	// Nothing turns without inertia: the bare link counts as a small one.
	l.InertiaKgM2 = math.Max(l.InertiaKgM2, 5e-5)
	return l
}

// PeakNm returns the greatest torque of the load on the joint over its range.
func (l Load) PeakNm() float64 {
	lo, hi := (l.RangeDeg[0]-l.DownDeg)*rad, (l.RangeDeg[1]-l.DownDeg)*rad
	peak := math.Max(math.Abs(math.Sin(lo)), math.Abs(math.Sin(hi)))
	for k := math.Ceil((lo/math.Pi - 0.5)); k <= hi/math.Pi-0.5; k++ {
		peak = 1 // the level pose lies inside the range
	}
	return l.MassKg * rig.Gravity * l.LeverM * peak
}

// SlackNm returns the torque at the joint at which one span goes slack, 0 for a direct joint.
func (t Truth) SlackNm() float64 {
	if t.Belt == nil {
		return 0
	}
	return 2 * t.Belt.TensionAt(t.Belt.AgeS) * t.Belt.jointRadiusM()
}

// TensionAt returns the pretension that is left some time after the belt was set, never below 0.
func (b *Belt) TensionAt(ageS float64) float64 {
	return math.Max(0, b.TensionN-b.LossPerDecadeN*math.Log10(1+ageS/firstMinuteS))
}

// firstMinuteS is where the log law of the belt's settling begins: what goes in the first minute goes
// while the builder still turns the screw.
const firstMinuteS = 60

// DegPerNm returns the compliance between motor side and joint while both spans are taut.
func (t Truth) DegPerNm() float64 {
	c := t.Part.DegPerNm
	if t.Belt != nil {
		c += t.Belt.degPerNm()
	}
	return c
}

func (b *Belt) jointRadiusM() float64 {
	return float64(b.Teeth) * b.PitchMM / 1000 / (2 * math.Pi) * b.Ratio
}

// degPerNm is the compliance of both spans together at the joint: 1/(2·k·r²).
func (b *Belt) degPerNm() float64 {
	r := b.jointRadiusM()
	return 1 / (2 * b.SpanNPerM * r * r) / rad
}

// Bench returns j as a builder would have to describe it for this truth: with the load that really
// hangs there and the law the current really follows.
func (t Truth) Bench(j rig.Joint) rig.Joint {
	j.Load = &rig.Load{MassKg: t.Load.MassKg, LeverM: t.Load.LeverM, InertiaKgM2: t.Load.InertiaKgM2, DownDeg: t.Load.DownDeg}
	return j
}
