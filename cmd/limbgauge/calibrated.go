package main

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
	"limbgauge/rig"
	"limbgauge/rig/record"
)

// calibrationsOf reads what bench.toml names for some joints, each calibration once.
func calibrationsOf(b *rig.Bench, joints []rig.Joint) ([]*rig.Calibration, error) {
	var out []*rig.Calibration
	for _, j := range joints {
		c, err := b.CalibrationOf(j)
		if err != nil {
			return nil, err
		}
		if c != nil && !slices.ContainsFunc(out, func(o *rig.Calibration) bool { return o.Name == c.Name }) {
			out = append(out, c)
		}
	}
	return out, nil
}

// loadCalibration reads a calibration of the bench by its name or path.
func (a *app) loadCalibration(name string) (*rig.Calibration, error) {
	if strings.HasSuffix(name, ".toml") {
		return rig.LoadCalibration(name)
	}
	if wrong := rig.CalibrationNameWrong(name); wrong != "" {
		return nil, usageError{fmt.Errorf("calibration %s", wrong)}
	}
	path := rig.CalibrationPath(a.folder(), name)
	if !exists(path) {
		return nil, unknown("calibration", name, a.calibrationNames())
	}
	return rig.LoadCalibration(path)
}

// calibrationNames are the names of the bench's calibrations.
func (a *app) calibrationNames() (names []string) {
	found, err := filepath.Glob(rig.CalibrationPath(a.folder(), "*"))
	if err != nil { // the folder's name has letters that mean something in a pattern
		return nil
	}
	for _, f := range found {
		names = append(names, strings.TrimSuffix(filepath.Base(f), ".toml"))
	}
	return names
}

// useCalibration makes a run be judged with another calibration than its own, or with none.
func (a *app) useCalibration(r *record.Run, name string) error {
	if name == noCalibration {
		for _, n := range r.Joints() {
			r.Use(n, nil)
		}
		return nil
	}
	c, err := a.loadCalibration(name)
	if err != nil {
		return err
	}
	used := false
	for _, j := range r.Info.Joints {
		if c.Misfit(j.Setup) == "" {
			r.Use(j.Setup.Name, c)
			used = true
		}
	}
	if !used {
		return inputError(fmt.Errorf("calibration %s: %s", c.Name, c.Misfit(r.Info.Joints[0].Setup)), `"limbgauge calibrate list" says which joint each calibration is of`)
	}
	return nil
}

// logCalibration says what corrects a log's readings: what --calibration or bench.toml names, nothing
// where the log says that it is corrected already.
func (a *app) logCalibration(b *rig.Bench, j rig.Joint, s *rig.Series, o analyzeOptions) (*rig.Calibration, error) {
	switch {
	case o.calibration == noCalibration || s.Calibration != "" && o.calibration == "":
		return nil, nil
	case o.calibration == "":
		return b.CalibrationOf(j)
	case s.Calibration != "":
		return nil, inputError(fmt.Errorf("%s says that its readings of joint %s are corrected by calibration %s", o.csv, j.Name, s.Calibration),
			"export the run without --corrected, or leave --calibration out")
	}
	c, err := a.loadCalibration(o.calibration)
	if err != nil {
		return nil, err
	}
	if wrong := c.Misfit(j); wrong != "" {
		return nil, inputError(fmt.Errorf("calibration %s: %s", c.Name, wrong), `"limbgauge calibrate list" says which joint each calibration is of`)
	}
	return c, nil
}

// correctedNote says in an answer what corrected the readings.
func correctedNote(h *health.Joint, c *rig.Calibration) {
	if c == nil {
		return
	}
	var steps []string
	for _, s := range c.Steps() {
		steps = append(steps, stepTitle(s.Key))
	}
	h.Notes = append(h.Notes, fmt.Sprintf("Readings are corrected by calibration %s (%s).", c.Name, strings.Join(steps, ", ")))
}

// stepTitle is a step's key as words.
func stepTitle(key string) string { return strings.ReplaceAll(key, "_", " ") }

// calibrationFacts says for the report what corrected each joint's readings.
func calibrationFacts(r *record.Run) []report.Fact {
	var out []report.Fact
	for _, j := range r.Info.Joints {
		n := j.Setup.Name
		c, err := r.Calibration(n)
		switch {
		case err != nil:
			out = append(out, report.Fact{Name: "Calibration of " + n, Value: err.Error()})
		case c == nil && j.Samples > 0:
			out = append(out, report.Fact{Name: "Calibration of " + n, Value: "none, readings as the stand sent them"})
		case c != nil:
			out = append(out, report.Fact{Name: "Calibration of " + n, Value: c.Name})
			for _, s := range c.Steps() {
				out = append(out, report.Fact{Name: n + ", " + stepTitle(s.Key), Value: stepWords(c, s)})
			}
		}
	}
	return out
}

// stepWords sums up one step on a line: what was found, from how many points, how well they fit, when
// and by whom.
func stepWords(c *rig.Calibration, s rig.CalibrationStep) string {
	words := ""
	switch s.Key {
	case "pulse":
		words = pulseWords(c.Pulse)
	case "torque":
		words = torqueWords(c.Torque)
	default:
		words = correctionWords(*c.Correction(s.Key), unitOf(s.Key))
	}
	words += "; " + s.Date.Format("2006-01-02")
	if s.Who != "" {
		words += " by " + s.Who
	}
	if s.Serial != "" {
		words += ", serial " + s.Serial
	}
	return words
}

// unitOf returns the unit a correction's values are printed in.
func unitOf(key string) string {
	return map[string]string{"joint_angle": "deg", "motor_angle": "deg", "current": "A", "supply": "V"}[key]
}

// plusMinus prints a value with its expanded uncertainty, two standard ones; without it where the
// points left none.
func plusMinus(v, u float64, unit string) string {
	if math.IsNaN(u) {
		return fmt.Sprintf("%+.4g %s, uncertainty not known", v, unit)
	}
	digits := 0
	if u > 0 {
		digits = max(0, 1-int(math.Floor(math.Log10(2*u))))
	} else {
		digits = 6
	}
	return fmt.Sprintf("%+.*f ± %.*f %s", digits, v, digits, 2*u, unit)
}

func correctionWords(c *rig.Correction, unit string) string {
	words := fmt.Sprintf("%s: %s at a reading of %.4g", c.Model, plusMinus(c.Zero, c.ZeroU, unit), c.At)
	if c.Scale != 0 {
		words += ", scale " + plusMinus(100*c.Scale, 100*c.ScaleU, "%")
	}
	if c.Model == rig.ModelWaves {
		words += fmt.Sprintf(", waves of %.3g and %.3g %s", math.Hypot(c.Sin1, c.Cos1), math.Hypot(c.Sin2, c.Cos2), unit)
	}
	words += fmt.Sprintf("; %d points from %.4g to %.4g %s", len(c.Points), c.From, c.To, unit)
	if c.Freedom > 0 {
		words += fmt.Sprintf(", residuals %.2g %s", c.ResidualSD, unit)
	}
	return words
}

func pulseWords(p *rig.PulseMap) string {
	slope := (p.Up.DegPerUS + p.Down.DegPerUS) / 2
	words := fmt.Sprintf("%.5g deg/us (%.5g rising, %.5g falling), %.3g deg at %.0f us, %s between the directions (%.2g us)",
		slope, p.Up.DegPerUS, p.Down.DegPerUS, p.Angle(p.AtUS), p.AtUS, plusMinus(math.Abs(p.GapDeg), p.GapDegU, "deg"), math.Abs(p.GapDeg)/slope)
	return words + fmt.Sprintf("; %d points from %.0f to %.0f us, residuals %.2g deg", len(p.Points), p.FromUS, p.ToUS, p.ResidualSD)
}

func torqueWords(t *rig.TorqueScale) string {
	if t.Law == rig.CurrentUnknown {
		return fmt.Sprintf("law of the current not decided: %s; %d points", t.Undecided, len(t.Points))
	}
	unit := "A/N·m"
	if t.Law == rig.CurrentDuty {
		unit = "A/(N·m)²"
	}
	return fmt.Sprintf("law %s: %s, idle %s; %d points, residuals %.2g A", t.Law, plusMinus(t.Scale, t.ScaleU, unit), plusMinus(t.IdleA, t.IdleAU, "A"), len(t.Points), t.ResidualSD)
}
