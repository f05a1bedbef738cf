package analyze

import (
	"fmt"
	"math"

	"limbgauge/analyze/drive"
	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
)

const (
	useMethod    = "greatest load torque at rest, with friction where it is known, over the stall torque at the voltage seen then, by the rated lines; load, friction and the rating to 5 % are in the uncertainty"
	useByCurrent = "current above idle at rest over that at stall, at the voltage seen then, by the rated lines and the law between supply current and torque"
	peakLoad     = "m·g·l·sin of the angle seen at rest, or the torque sensor"
	peakCurrent  = "current at rest, mean of both ways of reaching it, turned into torque by the rated lines"
)

const (
	// loadU is the relative standard uncertainty taken for a mass on a lever, weighed and measured at
	// the bench: 1 g in 100 and 1 mm in 100 [common practice].
	loadU = 0.015
	// stallU is that of a rated stall torque or current: sellers give 11 to 13 kg·cm for one servo, a
	// half width of 8 %, even [data sheets].
	stallU = 0.05
	// scaledU is that of a rated line scaled with the voltage, per unit of voltage ratio: two rated
	// lines of one servo depart from proportion by 2.5 % over a quarter more volts [data sheets].
	scaledU = 0.1
	// ratedC is the temperature, °C, at which rated lines are taken to hold; warmU is how far the
	// copper's may be from the logged one, as a share of stall torque (2.5 K) [common practice].
	ratedC, warmU = 20.0, 0.01
)

// rest is a stretch in which the command rests and the joint has settled.
type rest struct {
	load, asked  float64 // N·m on the joint with sign: where it stands, and where it was told to stand
	amps         float64
	motor        drive.Motor // at the voltage and temperature seen
	hot          float64     // by how much warm copper lowers the stall torque, 1 where nothing is logged
	dir          int
	toDeg, volts float64
}

// rests reads the second half of every dwell; the error says why none can be read.
func (c *subject) rests(d driven) ([]rest, string) {
	if len(d.rated) == 0 {
		return nil, "no rated line of the servo is given"
	}
	if c.s.Supply == nil {
		return nil, "the supply voltage is not logged"
	}
	var out []rest
	for _, p := range c.pieces {
		n := p.Dwell[1] - p.Dwell[0]
		if n < 12 {
			continue
		}
		a, b := p.Dwell[0]+n/2, p.Dwell[1]
		r := rest{dir: p.Dir(), toDeg: p.ToDeg, volts: meanOf(c.s.Supply[a:b]), load: math.NaN(), amps: math.NaN(), hot: 1}
		m, err := drive.At(d.rated, d.idleA, r.volts)
		if err != nil {
			continue
		}
		if c.s.Temp != nil {
			if warm := meanOf(c.s.Temp[a:b]); warm > ratedC {
				r.hot = drive.HotFactor(ratedC, warm)
				m.StallNm, m.StallA = m.StallNm/r.hot, m.StallA/r.hot
			}
		}
		r.motor = m
		if c.load != nil {
			r.load = meanOf(c.load[a:b])
			r.asked = r.load
			if c.s.Torque == nil {
				r.asked = -c.loadAmplitude() * math.Sin((p.ToDeg-c.j.Load.DownDeg)*rad)
			}
		}
		if c.s.Current != nil {
			r.amps = meanOf(c.s.Current[a:b])
		}
		out = append(out, r)
	}
	if len(out) == 0 {
		return nil, "the run has no rest in which load and voltage are known"
	}
	return out, ""
}

// loadAmplitude returns m·g·l of bench.toml, N·m.
func (c *subject) loadAmplitude() float64 { return c.j.Load.Amplitude() }

// torqueMeasures reports the load's peak and how much of the available torque it takes: from the
// known load, else from the current. It also returns the share at the rated voltage alone.
func (c *subject) torqueMeasures(d driven, friction stats.Estimate) (out []health.Measure, nominal float64) {
	rests, why := c.rests(d)
	if c.load == nil {
		return c.torqueByCurrent(d, rests, why), math.NaN()
	}
	out = append(out, c.loadPeakMeasure())
	if why != "" {
		return append(out, health.Unseen("torque_use", health.NoPath, useMethod, why)), math.NaN()
	}
	f := 0.0
	if friction.Seen() {
		f = math.Max(0, friction.Value)
	}
	var most rest
	use := math.Inf(-1)
	nominal = math.NaN()
	strongest := d.rated[len(d.rated)-1]
	for _, r := range rests {
		t := (math.Abs(r.load) + f) / c.j.Ratio()
		if u := r.motor.Use(t); u > use {
			use, most = u, r
		}
		if u := t / strongest.StallNm; u > nominal || math.IsNaN(nominal) {
			nominal = u
		}
	}
	if math.IsNaN(nominal) || math.IsInf(use, 0) {
		return append(out, health.Unseen("torque_use", health.NoPath, useMethod, "the run has no rest in which load and voltage are known")), math.NaN()
	}
	rel := math.Hypot(stallU, loadU*math.Abs(most.load)/(math.Abs(most.load)+f))
	if friction.Seen() {
		rel = math.Hypot(rel, friction.U/(math.Abs(most.load)+f))
	}
	m := health.Of("torque_use", health.NoPath, use, 0, useMethod)
	if most.motor.Basis == drive.Scaled {
		rel = math.Hypot(rel, scaledU*c.beyondRated(d, most.volts))
		m.Reason = "the voltage lies outside the rated ones; the nearest line was scaled with the voltage"
	}
	if most.hot > 1 {
		rel = math.Hypot(rel, warmU)
		m.Reason = joined(m.Reason, fmt.Sprintf("warm copper leaves %.0f %% of the stall torque at the temperature logged; the winding itself may be warmer", 100/most.hot))
	}
	m.Uncertainty = 2 * rel * use
	if len(c.stalls) > 0 {
		m.Status = health.BoundLow
		m.Reason = joined(m.Reason, "the servo stood in stall, so more was asked of it")
	}
	return append(out, m), nominal
}

// beyondRated returns how far a voltage lies outside the rated ones, as a share of the nearest.
func (c *subject) beyondRated(d driven, volts float64) float64 {
	far := math.Inf(1)
	for _, r := range d.rated {
		far = math.Min(far, math.Abs(volts/r.Volts-1))
	}
	return far
}

func joined(a, b string) string {
	if a == "" {
		return b
	}
	return a + "; " + b
}

// loadPeakMeasure reports the greatest load torque at rest. Where the joint stands short of its
// command so far that the load there is another, what was seen is the least.
func (c *subject) loadPeakMeasure() health.Measure {
	var seen, asked float64
	for _, p := range c.pieces {
		n := p.Dwell[1] - p.Dwell[0]
		if n < 12 {
			continue
		}
		if t := math.Abs(meanOf(c.load[p.Dwell[0]+n/2 : p.Dwell[1]])); t > seen {
			seen = t
		}
		if c.s.Torque == nil {
			asked = math.Max(asked, c.loadAmplitude()*math.Abs(math.Sin((p.ToDeg-c.j.Load.DownDeg)*rad)))
		}
	}
	if seen == 0 {
		seen = quantile(absOf(c.load), 0.99)
	}
	m := health.Of("load_torque_peak", health.NoPath, seen, 2*loadU*seen, peakLoad)
	if asked > seen*(1+2*loadU) {
		m.Status = health.BoundLow
		m.Reason = fmt.Sprintf("the joint stands short of its command; where it was told to go the load is %.3f N·m", asked)
	}
	return m
}

// torqueByCurrent reports load and torque use where no load is known. A supply current has no sign
// and friction holds part of a load at rest, so both ways of reaching a place are averaged. Under an
// unknown law the answer is the span of both.
func (c *subject) torqueByCurrent(d driven, rests []rest, why string) []health.Measure {
	unseen := func(why string) []health.Measure {
		return []health.Measure{health.Unseen("load_torque_peak", health.NoPath, peakCurrent, why),
			health.Unseen("torque_use", health.NoPath, useByCurrent, why)}
	}
	if c.s.Current == nil {
		return unseen(c.why)
	}
	if why != "" {
		return unseen(c.why + "; nor can the current tell: " + why)
	}
	lo, hi, half, motor, ok := c.heaviest(d, rests)
	if !ok {
		return unseen(c.why + "; nor does the current rise above idle at rest")
	}
	law := fmt.Sprintf("no load is stated; by the %s law", d.law)
	if d.law == drive.LawUnknown {
		law = fmt.Sprintf("no load is stated and the law of the current is not known: %.2f of the stall torque if it follows the motor's current, %.2f if duty times it", lo, hi)
	}
	use := stats.Estimate{Value: (lo + hi) / 2, U: math.Hypot(stallU, scaledU*c.beyondRated(d, motor.Volts)) * hi, DF: math.Inf(1)}
	wide := (hi-lo)/2 + half
	m := health.Of("torque_use", health.NoPath, use.Value, wide+2*use.U, useByCurrent)
	m.Reason = law
	k := motor.StallNm * c.j.Ratio()
	p := health.Of("load_torque_peak", health.NoPath, k*use.Value, k*(wide+2*hi*ratedU), peakCurrent)
	p.Reason = law
	return []health.Measure{p, m}
}

// heaviest returns the greatest share of the stall torque that the currents at rest show, as the span
// of the laws that are possible, and half the difference between both ways of reaching that place.
func (c *subject) heaviest(d driven, rests []rest) (lo, hi, half float64, motor drive.Motor, ok bool) {
	type pair struct {
		amps  [2][]float64
		motor drive.Motor
	}
	at := map[int]*pair{}
	for _, r := range rests {
		if math.IsNaN(r.amps) || r.dir == 0 {
			continue
		}
		k := int(math.Round(r.toDeg))
		if at[k] == nil {
			at[k] = &pair{motor: r.motor}
		}
		at[k].amps[(r.dir+1)/2] = append(at[k].amps[(r.dir+1)/2], r.amps)
	}
	for _, p := range at {
		if len(p.amps[0]) == 0 || len(p.amps[1]) == 0 {
			continue
		}
		a, b := meanOf(p.amps[0]), meanOf(p.amps[1])
		l, h := p.motor.TorqueFromSupply(d.law, (a+b)/2, 0)
		la, ha := p.motor.TorqueFromSupply(d.law, a, 0)
		lb, hb := p.motor.TorqueFromSupply(d.law, b, 0)
		if h/p.motor.StallNm > hi {
			lo, hi, motor, ok = l/p.motor.StallNm, h/p.motor.StallNm, p.motor, true
			half = math.Max(math.Abs(la-lb), math.Abs(ha-hb)) / 2 / p.motor.StallNm
		}
	}
	return lo, hi, half, motor, ok
}

// loadMiss compares the load that the raising currents show by the rated scale with the stated one: a
// ratio with its doubt. Torque goes with the current under LawMotor, with its root under LawDuty.
func loadMiss(law drive.Law, m scaleFit, rated float64) stats.Estimate {
	if !m.ok || !(rated > 0) {
		return stats.Unseen("the currents do not show it")
	}
	ratio, rel := m.slope/rated, m.rel
	if law == drive.LawDuty {
		ratio, rel = math.Sqrt(ratio), rel/2
	}
	return stats.Estimate{Value: ratio, U: ratio * math.Hypot(ratedU, rel), DF: math.Inf(1)}
}

// misses reports whether the stated load and the current disagree beyond their doubt.
func (d driven) misses() bool {
	return d.miss.Seen() && d.miss.Value > 0 && math.Abs(math.Log(d.miss.Value)) > 2*math.Hypot(d.miss.U/d.miss.Value, loadU)
}

// underLoad are the measures that hang on the stated load: torques by its scale, compliance by the
// inverse.
var underLoad = map[string]bool{"load_torque_peak": true, "torque_use": true, "friction": true, "viscous_friction": true,
	"tight_spot": true, "compliance": true, "span_slack_torque": true, "belt_tension": true}

// doubted adds to every figure that hangs on the stated load what the current makes of that load where
// the two disagree: either may be the right one.
func (d driven) doubted(ms []health.Measure) []health.Measure {
	if !d.misses() {
		return ms
	}
	share := math.Max(d.miss.Value, 1/d.miss.Value) - 1 + 2*d.miss.U/d.miss.Value
	for i, m := range ms {
		if !underLoad[m.Name] || m.Status == health.NotObservable {
			continue
		}
		wide := share * math.Abs(m.Value)
		if !math.IsNaN(m.Uncertainty) {
			wide += m.Uncertainty
		}
		ms[i].Uncertainty = wide
		ms[i].Reason = joined(m.Reason, fmt.Sprintf("the current speaks for %.2f times the load that is stated", d.miss.Value))
	}
	return ms
}
