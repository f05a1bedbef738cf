package calibrate

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"limbgauge/analyze/stats"
	"limbgauge/rig"
)

// ErrPoints says that the points do not show what was asked of them.
var ErrPoints = errors.New("the points do not show it")

const (
	// bicApart is how much better (BIC) a model with more constants must fit [common practice].
	bicApart = 6.0
	// turnDeg is the least part of a turn over which one and two waves are told from scale and from
	// each other [common practice].
	turnDeg = 270.0
	// wavePoints and waveGapDeg: two waves a turn need a point each 60 deg or so not to be mistaken
	// for others [common practice; four constants and zero, sampled above Nyquist].
	wavePoints = 8
	waveGapDeg = 60.0
	// curvePoints is the least number of different readings for a square in the correction.
	curvePoints = 6
	// scaleMost is the greatest ratio of true change to reading's change that is still a sensor's
	// error; beyond it units are mixed up [common practice].
	scaleMost = 1.6
	// standing is the ratio of reading's change to true change below which a sensor does not follow at
	// all: below the least of mixed-up units, 1 rad for 57.3 deg [common practice].
	standing = 0.001
	// formShows is how many times what reference and noise explain the residuals of a line must be
	// before it is said that a line does not hold [common practice].
	formShows = 3.0
	// outlying is how many times the scatter of the others a residual must be to be named
	// [common practice].
	outlying = 5.0
)

// Options of a correction.
type Options struct {
	Unit   string  // for messages: deg, A, V
	Angle  bool    // readings are angles in deg, so that waves per turn make sense
	Within float64 // the reference is right within ±Within
	// Model is the one to fit; "" leaves the choice to the points.
	Model rig.Model
}

// Correct fits a correction to points in any order. Notes say in whole sentences what a reader of
// the result should know. The error wraps ErrPoints where the points do not do.
func Correct(points []rig.CalibrationPoint, o Options) (c rig.Correction, notes []string, err error) {
	if err := sound(points, o); err != nil {
		return c, nil, err
	}
	reading, diff := columns(points)
	c = rig.Correction{Model: o.Model, At: Round(stats.Mean(reading)), From: slices.Min(reading), To: slices.Max(reading), Within: o.Within,
		Points: slices.Clone(points)}
	var fits []candidate
	switch o.Model {
	case rig.ModelZero:
		fits = append(fits, fit(rig.ModelZero, zeroOnly(), c.At, reading, diff))
	case "":
		fits = choices(points, c.At, reading, diff, o)
	default:
		if why := cannot(o.Model, points, o); why != "" {
			return c, nil, fmt.Errorf("%w: %s", ErrPoints, why)
		}
		for _, t := range shapes(o.Model) {
			fits = append(fits, fit(o.Model, t, c.At, reading, diff))
		}
	}
	best := fits[0]
	for _, f := range fits[1:] {
		if f.err == nil && (best.err != nil || f.bic < best.bic-bicApart) {
			if best.err == nil && f.model != best.model {
				notes = append(notes, fmt.Sprintf("A %s fits better than a %s (BIC %.0f apart).", f.model, best.model, best.bic-f.bic))
			}
			best = f
		}
	}
	if best.err != nil {
		return c, nil, fmt.Errorf("fit a %s: %w", best.model, best.err)
	}
	best.fill(&c, points)
	return c, append(notes, remarks(&c, o)...), nil
}

func columns(points []rig.CalibrationPoint) (reading, diff []float64) {
	for _, p := range points {
		reading, diff = append(reading, p.Reading), append(diff, p.Reference-p.Reading)
	}
	return reading, diff
}

// sound refuses points no sensor gives.
func sound(points []rig.CalibrationPoint, o Options) error {
	if len(points) == 0 {
		return fmt.Errorf("%w: there are none", ErrPoints)
	}
	for i, p := range points {
		if math.IsNaN(p.Reference+p.Reading) || math.IsInf(p.Reference+p.Reading, 0) {
			return fmt.Errorf("%w: point %d is no number", ErrPoints, i+1)
		}
	}
	s := slices.Clone(points)
	slices.SortStableFunc(s, func(a, b rig.CalibrationPoint) int {
		switch {
		case a.Reference < b.Reference:
			return -1
		case a.Reference > b.Reference:
			return 1
		}
		return 0
	})
	first, last := s[0], s[len(s)-1]
	span := last.Reference - first.Reference
	if span == 0 {
		if o.Model == rig.ModelZero {
			return nil
		}
		if len(s) == 1 {
			return fmt.Errorf("%w: one point at %g %s shows the zero and no scale; give another place, or ask for the zero alone", ErrPoints, first.Reference, o.Unit)
		}
		return fmt.Errorf("%w: all %d lie at %g %s, which shows the zero and no scale; give another place, or ask for the zero alone", ErrPoints, len(s), first.Reference, o.Unit)
	}
	for i := 1; i < len(s); i++ {
		if a, b := s[i-1], s[i]; o.Angle && a.Reading-b.Reading > 180 {
			return fmt.Errorf("%w: from %g to %g deg the reading falls from %g to %g: the sensor went past its full turn; add 360 to the readings behind it",
				ErrPoints, a.Reference, b.Reference, a.Reading, b.Reading)
		}
	}
	slope := (last.Reading - first.Reading) / span
	if slope < -standing && o.Model != rig.ModelZero {
		return fmt.Errorf("%w: the reading falls from %g to %g %s while the reference rises from %g to %g; turn the sense of the sensor first, or the signs of one column",
			ErrPoints, first.Reading, last.Reading, o.Unit, first.Reference, last.Reference)
	}
	if math.Abs(slope) < standing {
		return fmt.Errorf("%w: the reading changes by %.2g %s while the reference changes by %.3g; does this sensor see the reference at all?", ErrPoints, last.Reading-first.Reading, o.Unit, span)
	}
	if !(slope*scaleMost > 1 && slope < scaleMost) {
		return fmt.Errorf("%w: the reading changes by %.3g where the reference changes by %.3g %s; are both in %s? (1 rad is 57.3 deg, 1 A is 1000 mA)",
			ErrPoints, last.Reading-first.Reading, span, o.Unit, o.Unit)
	}
	for i := 1; i < len(s); i++ {
		a, b := s[i-1], s[i]
		// Places nearer than a twentieth of the range may change order by noise.
		if b.Reference-a.Reference > span/20 && b.Reading <= a.Reading {
			return fmt.Errorf("%w: from %g to %g %s the reading falls from %g to %g, though it rises over all points; were two of them swapped?",
				ErrPoints, a.Reference, b.Reference, o.Unit, a.Reading, b.Reading)
		}
	}
	return nil
}

// cannot says why a model can not be fitted to points, "" when it can.
func cannot(m rig.Model, points []rig.CalibrationPoint, o Options) string {
	var at []float64
	for _, p := range points {
		at = append(at, p.Reading)
	}
	slices.Sort(at)
	at = slices.Compact(at)
	span := at[len(at)-1] - at[0]
	switch m {
	case rig.ModelCurve:
		if len(at) < curvePoints {
			return fmt.Sprintf("a curve needs %d different readings, there are %d", curvePoints, len(at))
		}
	case rig.ModelWaves:
		switch {
		case !o.Angle:
			return "waves per turn are a matter of angles"
		case span < turnDeg:
			return fmt.Sprintf("the readings cover %.0f deg of a turn; below %.0f deg one and two waves can not be told from scale and zero, so the form can not be seen. Turn the sensor further, off the joint if need be, or take a line or a curve for this range", span, turnDeg)
		case len(at) < wavePoints:
			return fmt.Sprintf("one and two waves per turn need %d different readings, there are %d", wavePoints, len(at))
		}
		for i := 1; i < len(at); i++ {
			if d := at[i] - at[i-1]; d > waveGapDeg {
				return fmt.Sprintf("between %.0f and %.0f deg there is no reading; for two waves per turn take one at least each %.0f deg", at[i-1], at[i], waveGapDeg)
			}
		}
	}
	return ""
}

// choices are the models the points allow, the simplest first.
func choices(points []rig.CalibrationPoint, at float64, reading, diff []float64, o Options) []candidate {
	out := []candidate{fit(rig.ModelLine, lines(), at, reading, diff)}
	more := rig.ModelCurve
	if cannot(rig.ModelWaves, points, o) == "" {
		more = rig.ModelWaves
	}
	if cannot(more, points, o) == "" {
		for _, t := range shapes(more) {
			out = append(out, fit(more, t, at, reading, diff))
		}
	}
	return out
}

// remarks says what the reader should know of a finished correction.
func remarks(c *rig.Correction, o Options) (notes []string) {
	switch {
	case c.Model == rig.ModelZero:
		notes = append(notes, "Only the zero was taken: scale and form of the sensor stay unknown.")
	case c.Freedom == 0:
		notes = append(notes, "As many constants as points: nothing is left to check them by. A third place would show whether a line holds.")
	case o.Angle && c.Model != rig.ModelWaves:
		notes = append(notes, fmt.Sprintf("The readings cover %.0f deg: what an off-centre magnet does outside of %.0f to %.0f deg was not seen.", c.To-c.From, c.From, c.To))
	}
	if u := math.Hypot(c.Within/math.Sqrt(3), noiseOf(c.Points)); c.Model == rig.ModelLine && u > 0 && c.ResidualSD > formShows*u {
		notes = append(notes, fmt.Sprintf("The residuals of %.2g %s are more than reference and noise explain: the sensor does not follow a line. Take %d places or more, so that a curve can be fitted.", c.ResidualSD, o.Unit, curvePoints))
	}
	if i, times := outlier(c); i >= 0 {
		p := c.Points[i]
		notes = append(notes, fmt.Sprintf("Point %d (reference %g, reading %.4g %s) lies %.0f times as far off as the others scatter: look at it again.", i+1, p.Reference, p.Reading, o.Unit, times))
	}
	return notes
}

// outlier returns the point whose residual stands out of the others', -1 for none.
func outlier(c *rig.Correction) (at int, times float64) {
	if c.Freedom < 3 {
		return -1, 0
	}
	at = -1
	for i, p := range c.Points {
		rest := 0.0
		for k, q := range c.Points {
			if k != i {
				rest += q.Residual * q.Residual
			}
		}
		sd := math.Sqrt(rest / float64(c.Freedom-1))
		if t := math.Abs(p.Residual) / sd; sd > 0 && t > outlying && t > times {
			at, times = i, t
		}
	}
	return at, times
}

// Round keeps nine digits: what is written is then exactly what was meant.
func Round(v float64) float64 {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return v
	}
	k := math.Pow(10, 8-math.Floor(math.Log10(math.Abs(v))))
	return math.Round(v*k) / k
}

// OhmA returns the current in A through a resistor or shunt of so many ohms at the voltage across it.
func OhmA(volts, ohms float64) float64 { return volts / ohms }
