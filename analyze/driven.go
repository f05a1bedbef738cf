package analyze

import (
	"fmt"
	"math"
	"slices"

	"limbgauge/analyze/drive"
	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
	"limbgauge/rig"
)

// driven is what the run tells of the servo's torque: which law its supply current follows and
// the motor's lines at a voltage.
type driven struct {
	rated []drive.Rating
	law   drive.Law
	stand drive.LawFit // from standing under known loads
	from  string       // where the law comes from, in words
	idleA float64
	// perNm (LawMotor, A/N·m) or perNm2 (LawDuty, A/(N·m)²) is the slope used.
	slope float64
	// slopeRel is the relative standard uncertainty of the slope.
	slopeRel float64
	why      string // why torque cannot be had from current
}

func ratings(sv rig.Servo) []drive.Rating {
	var out []drive.Rating
	for _, r := range sv.Rated {
		out = append(out, drive.Rating(r))
	}
	return out
}

// drivenOf finds the law that ties supply current to torque, and its scale: from bench.toml, from
// the ramps that raise the known load, and from the standing currents under it.
func (c *subject) drivenOf(raw []rubPoint) driven {
	d := driven{rated: ratings(c.j.Servo), law: drive.Law(c.j.Servo.CurrentLaw), idleA: c.j.Servo.IdleA, from: "bench.toml states it"}
	if t := c.j.Doubt.Torque; t != nil && t.Law == c.j.Servo.CurrentLaw {
		d.from = "the calibration's weights show it"
	}
	if c.s.Current == nil {
		d.why = "no current is logged"
		return d
	}
	if c.load == nil {
		d.why = c.why
		return d
	}
	torque, amps := c.standing()
	d.stand = drive.FindLaw(torque, amps)
	rated, err := drive.At(d.rated, d.idleA, c.restVolts())
	known := err == nil && rated.StallA > d.idleA
	scale := map[drive.Law]float64{}
	if known {
		scale[drive.LawMotor] = (rated.StallA - d.idleA) / rated.StallNm
		scale[drive.LawDuty] = scale[drive.LawMotor] / rated.StallNm
	}
	moving := map[drive.Law]scaleFit{}
	for _, law := range []drive.Law{drive.LawMotor, drive.LawDuty} {
		moving[law] = c.movingScale(driven{rated: d.rated, law: law, idleA: d.idleA}, raw, scale[law])
	}
	if d.law == drive.LawUnknown {
		d.law, d.from = lawOf(d.stand, moving, rated, known), "found from the currents under the known load and the rated lines"
	}
	fit := d.stand.Linear
	if d.law == drive.LawDuty {
		fit = d.stand.Square
	}
	m := moving[d.law]
	switch {
	case d.law == drive.LawUnknown:
		d.why = "the law between supply current and torque is not known"
		if d.stand.Reason != "" {
			d.why += ": " + d.stand.Reason
		}
		d.why += "; state servo.current_law or sweep under more load"
	case m.ok:
		d.slope, d.idleA, d.slopeRel = m.slope, m.idleA, m.rel
	case !m.tried && fit.Seen() && fit.Value > 0 && d.stand.Residual < fitGood*span(amps):
		d.slope, d.slopeRel, d.idleA = fit.Value, fit.U/fit.Value, d.idleOf(fit, torque, amps)
	case known:
		d.slope, d.slopeRel = scale[d.law], ratedU
		d.from += "; scale from the rated lines, since friction scatters the currents"
	default:
		d.why = "no rated line of the servo is given and the currents scatter too much"
	}
	return d
}

const (
	// fitGood is the scatter, as a share of the span of currents, up to which the run's own scale
	// is believed before the data sheet's [common practice].
	fitGood = 0.04
	// ratedU is the relative standard uncertainty taken for a data sheet's torque per ampere: sellers
	// of one servo disagree by that much [common practice].
	ratedU = 0.1
)

// idleOf returns the current at no torque under the chosen law.
func (d driven) idleOf(slope stats.Estimate, torque, amps []float64) float64 {
	sum := 0.0
	for i, t := range torque {
		x := math.Abs(t)
		if d.law == drive.LawDuty {
			x *= x
		}
		sum += amps[i] - slope.Value*x
	}
	return sum / float64(len(torque))
}

func span(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	return slices.Max(x) - slices.Min(x)
}

// drive returns what the law's slope multiplies: torque for LawMotor, τ² + n·T_s·τ for LawDuty. The
// speed is negative where the load drives the motor.
func (d driven) drive(torque, degPerS, volts float64) float64 {
	if d.law == drive.LawMotor {
		return torque
	}
	n := 0.0
	if m, err := drive.At(d.rated, d.idleA, volts); err == nil {
		n = degPerS / m.NoLoadDegPerS * m.StallNm
	}
	return torque * (torque + n)
}

// torque returns the size of the motor's torque behind a supply current at a joint speed in deg/s,
// which is negative where the load drives the motor.
func (d driven) torque(amps, degPerS, volts, ratio float64) float64 {
	x := math.Max(0, amps-d.idleA) / d.slope
	if d.law == drive.LawMotor {
		return x
	}
	// Solve τ² + n·T_s·τ = x for τ; drive(1) - 1 is n·T_s.
	n := d.drive(1, degPerS*ratio, volts) - 1
	return (-n + math.Sqrt(n*n+4*x)) / 2
}

// restVolts returns the supply voltage at rest: the median of the settled stops, or of all samples.
func (c *subject) restVolts() float64 {
	if c.s.Supply == nil {
		return math.NaN()
	}
	var v []float64
	for _, p := range c.pieces {
		if p.DwellS > 0.3 {
			v = append(v, meanOf(c.s.Supply[p.Dwell[0]+(p.Dwell[1]-p.Dwell[0])/2:p.Dwell[1]]))
		}
	}
	if len(v) == 0 {
		v = c.s.Supply
	}
	return quantile(v, 0.95)
}

const (
	useMethod = "greatest load torque, with friction where it is known, over the rated stall torque at the voltage seen then (interpolated; the rating is taken as given)"
	peakLoad  = "m·g·l·sin of the angle seen, or the torque sensor"
	sagMethod = "no-load voltage from a line through voltage and current, less the lowest reading"
)

// loadU is the relative standard uncertainty taken for a mass on a lever, weighed and measured at
// the bench: 1 g in 100 and 1 mm in 100 [common practice].
const loadU = 0.015

// torqueMeasures reports the load's peak and how much of the available torque it takes. It also
// returns the share at the rated voltage alone.
func (c *subject) torqueMeasures(d driven, frictionNm float64) (out []health.Measure, nominal float64) {
	nominal = math.NaN()
	if c.load == nil {
		return []health.Measure{health.Unseen("load_torque_peak", health.NoPath, peakLoad, c.why),
			health.Unseen("torque_use", health.NoPath, useMethod, c.why)}, nominal
	}
	var rests []float64
	for _, p := range c.pieces {
		if n := p.Dwell[1] - p.Dwell[0]; n >= 12 {
			rests = append(rests, meanOf(c.load[p.Dwell[0]+n/2:p.Dwell[1]]))
		}
	}
	peak := greatest(rests)
	if peak == 0 {
		peak = quantile(absOf(c.load), 0.99)
	}
	out = append(out, health.Of("load_torque_peak", health.NoPath, peak, 2*loadU*peak, peakLoad))
	if len(d.rated) == 0 {
		return append(out, health.Unseen("torque_use", health.NoPath, useMethod, "no rated line of the servo is given")), nominal
	}
	if c.s.Supply == nil {
		return append(out, health.Unseen("torque_use", health.NoPath, useMethod, "the supply voltage is not logged")), nominal
	}
	use, basis := 0.0, drive.Interpolated
	for _, p := range c.pieces {
		n := p.Dwell[1] - p.Dwell[0]
		if n < 12 {
			continue
		}
		a, b := p.Dwell[0]+n/2, p.Dwell[1]
		m, err := drive.At(d.rated, d.idleA, meanOf(c.s.Supply[a:b]))
		if err != nil {
			continue
		}
		t := math.Abs(meanOf(c.load[a:b])) + frictionOf(frictionNm)
		if math.IsNaN(t) {
			continue
		}
		if u := m.Use(t / c.j.Ratio()); u > use {
			use, basis = u, m.Basis
		}
		strongest := d.rated[len(d.rated)-1]
		if u := t / c.j.Ratio() / strongest.StallNm; math.IsNaN(nominal) || u > nominal {
			nominal = u
		}
	}
	if math.IsNaN(nominal) {
		return append(out, health.Unseen("torque_use", health.NoPath, useMethod, "the run has no rest in which load and voltage are known")), nominal
	}
	m := health.Of("torque_use", health.NoPath, use, 2*loadU*use, useMethod)
	if basis == drive.Scaled {
		m.Reason = "the voltage lies outside the rated ones; the nearest line was scaled with the voltage"
	}
	return append(out, m), nominal
}

func frictionOf(f float64) float64 {
	if math.IsNaN(f) || f < 0 {
		return 0
	}
	return f
}

func (c *subject) sagMeasure() health.Measure {
	if c.s.Supply == nil {
		return health.Unseen("supply_sag", health.NoPath, sagMethod, "the supply voltage is not logged")
	}
	amps := c.s.Current
	if amps == nil {
		amps = make([]float64, len(c.s.Supply))
	}
	s, err := drive.SupplyLine(c.s.Supply, amps, 0)
	if err != nil {
		return health.Unseen("supply_sag", health.NoPath, sagMethod, err.Error())
	}
	if c.s.Current == nil { // the voltage at rest is the least that the no-load voltage can be
		s.Sag.Value = c.restVolts() - s.LowestV
	}
	m := fromEstimate("supply_sag", health.NoPath, s.Sag, sagMethod)
	if m.Status == health.Measured {
		m.Status = health.BoundLow
		m.Reason = fmt.Sprintf("dips shorter than the %.0f ms between samples are not seen", 1000*c.dt)
		if c.s.Current == nil {
			m.Reason += "; no current is logged, so the voltage at rest stands for the no-load voltage"
		}
		if s.SourceOhm.Seen() {
			m.Reason += fmt.Sprintf("; source and leads have %.2g ± %.1g Ω", s.SourceOhm.Value, s.SourceOhm.Expanded())
		}
	}
	return m
}
