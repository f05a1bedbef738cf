package analyze

import (
	"fmt"
	"math"

	"limbgauge/analyze/diagnose"
	"limbgauge/analyze/health"
	"limbgauge/analyze/sensor"
	"limbgauge/analyze/stats"
)

const (
	// scaleLeast is the least slope of the deviation that is called a wrong scale [common practice].
	scaleLeast = 0.05
	// giveMost is the greatest compliance, deg/N·m, that a joint may have for its load to be to blame.
	giveMost = 15.0
	// straightLeast is how much of the deviation a straight line must explain.
	straightLeast = 0.95
	// waveLeast, deg, is what a magnet well centred does not make: data sheets give half a degree of
	// form error centred and one at 0.5 mm off.
	waveLeast = 0.8
	// mixedUp is by how many teeth pulleys that are mixed up differ.
	mixedUp = 4.0
	// bendLeast, deg, is a bend over a short range worth a hint.
	bendLeast = 1.5
)

// formFaults looks at how the deviation of the stops goes with the angle, mean of both directions, for
// what is no play, load or friction: a scale that is wrong, a magnet off its centre.
//
// A wrong scale looks like give under the load in its path, so what rests on that is withheld there.
func (c *subject) formFaults(seen *sensing) (faults []diagnose.SensorFault, notes []string) {
	if len(c.stalls) > 0 || seen.blind != "" {
		return nil, nil
	}
	names := map[health.Path]string{
		health.Total: "command and joint angle", health.Servo: "command and motor angle", health.Transmission: "motor angle and joint angle"}
	for i := range c.paths {
		p := &c.paths[i]
		if p.name == health.Total && len(c.paths) > 1 {
			continue // its parts tell more
		}
		angle, dev, load := c.middles(p)
		f, ok := sensor.FindForm(angle, dev, load)
		if !ok {
			continue
		}
		if scale, ok := c.wrongScale(p, f, angle, load); ok {
			faults = append(faults, diagnose.SensorFault{Sensor: names[p.name], Repaired: true, Text: scale})
			seen.scaled = append(seen.scaled, p.name, health.Total)
			continue
		}
		for _, w := range []struct {
			name   string
			amp, u float64
		}{{"once", f.First, f.FirstU}, {"twice", f.Second, f.SecondU}} {
			if w.amp-w.u > waveLeast {
				faults = append(faults, diagnose.SensorFault{Sensor: names[p.name], Repaired: true,
					Text: fmt.Sprintf("differ by a wave of ±%.2f deg %s a turn, which no load makes: a magnet off its centre, or a pulley off its bore", w.amp, w.name)})
			}
		}
		if math.IsNaN(f.First) && f.Straight < straightLeast {
			if b := bend(angle, dev, load); b > bendLeast {
				notes = append(notes, fmt.Sprintf("Over the angle %s bend apart by %.1f deg, more than load explains: perhaps a magnet off its centre. Over a range of %.0f deg that can not be told from a wrong scale.", names[p.name], b, f.RangeDeg))
			}
		}
	}
	return faults, notes
}

// middles returns the mean deviation of both directions of every stop, with its angle and load.
func (c *subject) middles(p *path) (angle, dev, load []float64) {
	for _, t := range c.targets {
		var d, l [2][]float64
		for _, s := range c.stops {
			if s.Target != t {
				continue
			}
			k := (s.Dir + 1) / 2
			d[k] = append(d[k], meanOf(p.defl(s.Tail[0], s.Tail[1])))
			if c.load != nil {
				l[k] = append(l[k], meanOf(c.load[s.Tail[0]:s.Tail[1]]))
			}
		}
		angle, dev = append(angle, t), append(dev, (meanOf(d[0])+meanOf(d[1]))/2)
		if c.load != nil {
			load = append(load, (meanOf(l[0])+meanOf(l[1]))/2)
		}
	}
	return angle, dev, load
}

// wrongScale reports a deviation that grows with the angle more than any load makes it.
func (c *subject) wrongScale(p *path, f sensor.Form, angle, load []float64) (text string, ok bool) {
	if f.Straight < straightLeast {
		return "", false
	}
	// A hanging load grows with the angle too: so much slope would the softest joint give, and none the
	// stiffest.
	given := 0.0
	if load != nil {
		if l, ok := sensor.FindForm(angle, load, nil); ok {
			given = giveMost * l.Slope
		}
	} else {
		return "", false // nobody knows what pulls
	}
	lo, hi := f.Slope-f.SlopeU-math.Max(0, given), f.Slope+f.SlopeU-math.Min(0, given)
	if !(lo > scaleLeast || hi < -scaleLeast) {
		return "", false
	}
	text = fmt.Sprintf("differ by %+.1f %% of the angle, both ways and straight, more than load explains: a wrong scale", 100*f.Slope)
	if b := c.j.Belt; b != nil && p.name != health.Servo {
		z := b.JointTeeth()
		if other := math.Round(z / (1 + f.Slope)); other != math.Round(z) && math.Abs(other-z) <= mixedUp && math.Abs(z/other-1-f.Slope) < 0.01 {
			text += fmt.Sprintf(", as a joint pulley of %.0f teeth in place of %.0f would make it", other, z)
		}
	}
	return text, true
}

// bend is the range of what a straight line and the load leave of the deviation.
func bend(angle, dev, load []float64) float64 {
	cols := [][]float64{make([]float64, len(angle)), angle}
	for i := range cols[0] {
		cols[0][i] = 1
	}
	if load != nil {
		cols = append(cols, load)
	}
	fit, err := stats.OLS(cols, dev)
	if err != nil {
		return 0
	}
	return stats.Reach(fit.Resid)
}
