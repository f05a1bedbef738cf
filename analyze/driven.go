package analyze

import (
	"fmt"
	"math"
	"slices"

	"limbgauge/analyze/drive"
	"limbgauge/analyze/health"
	"limbgauge/analyze/segment"
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
	// scale is what slope would be by the rated lines; 0 where there are none.
	scale float64
	// miss is the load that the current shows over the load that bench.toml states, 1 where the two
	// agree within their doubt or nothing is known; see loadMiss.
	miss stats.Estimate
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
	d.scale, d.miss = scale[d.law], loadMiss(d.law, m, scale[d.law])
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

// restVolts returns the supply voltage at rest: a high one of the settled stops, or of all samples; NaN
// when none is logged.
func (c *subject) restVolts() float64 {
	if c.restV != 0 {
		return c.restV
	}
	return restVoltsOf(c.s, c.pieces)
}

func restVoltsOf(s *rig.Series, pieces []segment.Piece) float64 {
	if s.Supply == nil {
		return math.NaN()
	}
	var v []float64
	for _, p := range pieces {
		if p.DwellS > 0.3 {
			v = append(v, meanOf(s.Supply[p.Dwell[0]+(p.Dwell[1]-p.Dwell[0])/2:p.Dwell[1]]))
		}
	}
	if len(v) == 0 {
		v = s.Supply
	}
	return quantile(v, 0.95)
}

const sagMethod = "no-load voltage from a line through voltage and current, less the lowest reading"

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
