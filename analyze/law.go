package analyze

import (
	"math"
	"slices"

	"limbgauge/analyze/drive"
)

// scaleFit is a law's scale as the raising ramps show it.
type scaleFit struct {
	ok       bool // believed
	tried    bool // there were points enough
	slope    float64
	idleA    float64
	rel      float64 // relative standard uncertainty of the slope
	rss      float64
	n        int
	friction float64 // N·m at the motor
}

// movingScale fits a law's scale to the ramps that raise the load. There friction is steady and its
// sign is sure, so current against load is a line (or the law's curve) whose slope is the scale and
// whose foot is friction; standing currents, which friction may hold either way, show less.
func (c *subject) movingScale(d driven, raw []rubPoint) scaleFit {
	var load, amps, speed []float64
	for _, p := range raw {
		if p.raising {
			load, amps, speed = append(load, p.load/c.j.Ratio()), append(amps, p.amps), append(speed, p.rate*c.j.Ratio())
		}
	}
	if len(load) < 10 || span(load) < 0.4*slices.Max(load) || d.idleA == 0 {
		return scaleFit{}
	}
	volts := c.restVolts()
	// For a given friction the scale is a straight line through the idle current.
	fit := func(f float64) (slope, rss float64) {
		var sxx, sxy float64
		x := make([]float64, len(load))
		for i := range load {
			x[i] = d.drive(load[i]+f, speed[i], volts)
			sxx += x[i] * x[i]
			sxy += x[i] * (amps[i] - d.idleA)
		}
		slope = sxy / sxx
		for i := range load {
			r := amps[i] - d.idleA - slope*x[i]
			rss += r * r
		}
		return slope, rss
	}
	lo, hi := 0.0, 3*slices.Max(load)
	for range 60 { // golden section; rss has one valley in f
		a, b := lo+0.382*(hi-lo), lo+0.618*(hi-lo)
		_, ra := fit(a)
		_, rb := fit(b)
		if ra < rb {
			hi = b
		} else {
			lo = a
		}
	}
	s := scaleFit{tried: true, idleA: d.idleA, n: len(load), friction: (lo + hi) / 2}
	s.slope, s.rss = fit(s.friction)
	scatter := math.Sqrt(s.rss/float64(s.n)) / span(amps)
	s.ok = s.slope > 0 && scatter < fitGood
	// Slope and foot lean on each other; what matters is how the residual scatter tilts the line.
	s.rel = math.Max(0.01, scatter)
	return s
}

// standing returns load torque on the motor and supply current at each target, averaged over both
// ways of reaching it so that friction cancels.
func (c *subject) standing() (torque, amps []float64) {
	for _, t := range c.targets {
		var load, current [2][]float64
		for _, s := range c.stops {
			if s.Target != t || c.stalledIn(s.Tail[0], s.Tail[1]) {
				continue
			}
			k := (s.Dir + 1) / 2
			load[k] = append(load[k], meanOf(c.load[s.Tail[0]:s.Tail[1]]))
			current[k] = append(current[k], meanOf(c.s.Current[s.Tail[0]:s.Tail[1]]))
		}
		if len(load[0]) == 0 || len(load[1]) == 0 {
			continue
		}
		torque = append(torque, (meanOf(load[0])+meanOf(load[1]))/2/c.j.Ratio())
		amps = append(amps, (meanOf(current[0])+meanOf(current[1]))/2)
	}
	return torque, amps
}

// lawOf weighs how well each law fits the currents against how near its scale comes to the rated
// lines: friction bends a straight line into something like a square, but moves its scale far away
// from the data sheet. The raising ramps speak before the standing currents.
func lawOf(stand drive.LawFit, moving map[drive.Law]scaleFit, rated drive.Motor, known bool) drive.Law {
	const (
		spread = 0.35 // standard deviation of ln(scale/rated): data sheets are off by a third at worst
		most   = 20.0 // a fit alone never says more than this in log-odds
		least  = 3.0
	)
	lin, sq, odds := stand.Linear.Value, stand.Square.Value, stand.BICGap/2
	if m, q := moving[drive.LawMotor], moving[drive.LawDuty]; m.tried && q.tried {
		// Neighbouring stretches share their vibration; a third of them count.
		lin, sq, odds = m.slope, q.slope, float64(m.n)/3*math.Log(q.rss/m.rss)/2
	}
	if !known {
		if math.IsNaN(odds) {
			return stand.Law
		}
	} else if !(lin > 0) || !(sq > 0) {
		return stand.Law
	}
	odds = math.Max(-most, math.Min(most, odds))
	if known {
		perNm := (rated.StallA - rated.IdleA) / rated.StallNm
		miss := func(slope, want float64) float64 { x := math.Log(slope/want) / spread; return x * x / 2 }
		odds += miss(sq, perNm/rated.StallNm) - miss(lin, perNm)
	}
	switch {
	case odds > least:
		return drive.LawMotor
	case odds < -least:
		return drive.LawDuty
	}
	return drive.LawUnknown
}
