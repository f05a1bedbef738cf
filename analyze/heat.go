package analyze

import (
	"fmt"
	"math"

	"limbgauge/analyze/drive"
	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
)

const (
	heatMethod = "first-order average of the squared winding current (120 s assumed, cold at the start) over the square of the current that may flow for long (a quarter of the stall current, common practice); a model, not a temperature"
	riseMethod = "greatest reading of the temperature sensor less the first, means over 1 s"
	// heatTauS is the thermal time constant taken for a servo's winding, s; small motors have one to
	// three minutes [common practice].
	heatTauS = 120
	// contShare of the stall current may flow for long [motor sellers' advice].
	contShare = 0.25
	// heatBinS is the stretch over which current is averaged before its square, s.
	heatBinS = 0.1
	// tempU is the relative standard uncertainty of a rise: a thermistor's slope [common practice].
	tempU = 0.02
)

// heatMeasures reports how far the winding's current heats it by model and, where a temperature is
// logged, by how much it rose.
func (c *subject) heatMeasures(d driven) []health.Measure {
	return []health.Measure{c.heatShare(d), c.tempRise()}
}

func (c *subject) heatShare(d driven) health.Measure {
	unseen := func(why string) health.Measure { return health.Unseen("heat_share", health.NoPath, heatMethod, why) }
	if c.s.Current == nil {
		return unseen("no current is logged")
	}
	m, err := drive.At(d.rated, d.idleA, c.insideRated(d))
	if err != nil {
		return unseen("no rated line of the servo is given, so the current that may flow for long is not known")
	}
	laws := []drive.Law{d.law}
	if d.law == drive.LawUnknown {
		laws = []drive.Law{drive.LawMotor, drive.LawDuty}
	}
	lo, hi, when := math.Inf(1), 0.0, 0.0
	for _, law := range laws {
		time, amps := c.windingAmps(m, law)
		most, at := 0.0, 0.0
		for i, x := range drive.I2t(time, amps, contShare*m.StallA, heatTauS) {
			if x > most {
				most, at = x, time[i]
			}
		}
		lo = math.Min(lo, most)
		if most >= hi {
			hi, when = most, at
		}
	}
	// The stall current enters squared.
	out := health.Of("heat_share", health.NoPath, (lo+hi)/2, (hi-lo)/2+2*2*stallU*hi, heatMethod)
	out.Reason = fmt.Sprintf("greatest at %.0f s", when)
	if len(laws) > 1 {
		out.Reason = fmt.Sprintf("the law of the supply current is not known: %.2f if it is the motor's, %.2f if duty times it", lo, hi)
	}
	return out
}

// insideRated returns the voltage at rest, kept inside the rated ones: what a winding may carry for
// long does not grow with the supply. Without a voltage it is the highest rated one.
func (c *subject) insideRated(d driven) float64 {
	if len(d.rated) == 0 {
		return math.NaN()
	}
	low, high := d.rated[0].Volts, d.rated[len(d.rated)-1].Volts
	v := c.restVolts()
	if math.IsNaN(v) {
		return high
	}
	return math.Max(low, math.Min(high, v))
}

// windingAmps averages the supply current over stretches of heatBinS and returns the winding current
// behind each under a law, at the speed of that stretch.
func (c *subject) windingAmps(m drive.Motor, law drive.Law) (time, amps []float64) {
	for i := 0; i < c.s.Len(); {
		k := i
		for k < c.s.Len() && c.s.Time[k] < c.s.Time[i]+heatBinS {
			k++
		}
		speed := 0.0
		if dt := c.s.Time[k-1] - c.s.Time[i]; dt > 0 {
			speed = math.Abs(c.s.Angle[k-1]-c.s.Angle[i]) / dt * c.j.Ratio()
		}
		if math.IsNaN(speed) {
			speed = 0
		}
		a := math.Max(0, meanOf(c.s.Current[i:k]))
		if law == drive.LawDuty {
			share := math.Max(0, a-m.IdleA) / (m.StallA - m.IdleA)
			a = m.IdleA + (m.StallA-m.IdleA)*drive.TorqueFraction(law, share, speed/m.NoLoadDegPerS)
		}
		time, amps = append(time, c.s.Time[i]), append(amps, a)
		i = k
	}
	return append(time, c.s.Time[c.s.Len()-1]), append(amps, math.NaN())
}

func (c *subject) tempRise() health.Measure {
	if c.s.Temp == nil {
		return health.Unseen("temp_rise", health.NoPath, riseMethod, "no temperature is logged")
	}
	first, most, at, noise := math.NaN(), math.Inf(-1), 0.0, 0.0
	for i := 0; i < c.s.Len(); {
		k := i
		for k < c.s.Len() && c.s.Time[k] < c.s.Time[i]+1 {
			k++
		}
		w := meanOf(c.s.Temp[i:k])
		if math.IsNaN(first) {
			first = w
			if sd := stats.SD(stats.Sorted(c.s.Temp[i:k])); sd > 0 {
				noise = sd
			}
		}
		if w > most {
			most, at = w, c.s.Time[i]
		}
		i = k
	}
	rise := most - first
	m := health.Of("temp_rise", health.NoPath, rise, 2*math.Hypot(tempU*rise, noise), riseMethod)
	m.Reason = fmt.Sprintf("greatest, %.1f °C, at %.0f s", most, at)
	return m
}
