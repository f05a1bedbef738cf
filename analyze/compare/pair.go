package compare

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"limbgauge/analyze/health"
)

// routine is one routine that both sides ran, with its runs.
type routine struct {
	name string
	a, b []Run
	load string // how the loads differ; empty where they do not
}

const (
	loadMeasure   = "load_torque_peak"
	notComparable = "not comparable because "
)

// loadDiffers is the share by which load torques may differ before figures under load are no longer
// compared [common practice].
const loadDiffers = 0.05

// loadFree are measures that are told per torque or without load, so that they compare between runs
// with unlike loads [common practice]. All others but loadCost grow or shrink with the load.
var loadFree = map[string]bool{
	"play": true, "compliance": true, "span_slack_torque": true, "belt_tension": true,
	"tight_spot": true, "tight_spot_angle": true, "tight_spot_width": true, "dead_time": true, "lost_samples": true,
}

// loadCost are measures of what the load costs the drive. A revision that made the leg heavier shows
// in them above all, so they are compared whatever the load, and the row says that it differs.
var loadCost = map[string]bool{"torque_use": true, "heat_share": true, "temp_rise": true, "stall_time": true, "supply_sag": true}

// pair sorts the runs by the routines that stand on both sides: another routine loads and moves the
// joint differently, so its figures do not compare. Notes say what is left out and what to know.
func pair(a, b []Run) (out []routine, notes []string) {
	names := func(runs []Run) (list []string) {
		for _, r := range runs {
			if !slices.Contains(list, r.Routine) {
				list = append(list, r.Routine)
			}
		}
		return list
	}
	inA, inB := names(a), names(b)
	leave := func(runs []Run, other []string) {
		for _, r := range runs {
			if !slices.Contains(other, r.Routine) {
				notes = append(notes, fmt.Sprintf("run %s is left out: routine %q was not run on the other side", r.ID, r.Routine))
			}
		}
	}
	leave(a, inB)
	leave(b, inA)
	slices.Sort(inA) // the answer must not hang on the order of the runs
	var both []string
	for _, n := range inA {
		if !slices.Contains(inB, n) {
			continue
		}
		of := func(r Run) bool { return r.Routine != n }
		r := routine{name: n, a: slices.DeleteFunc(slices.Clone(a), of), b: slices.DeleteFunc(slices.Clone(b), of)}
		var note string
		r.load, note = loads(r)
		notes = append(notes, nonEmpty(note)...)
		out, both = append(out, r), append(both, n)
	}
	if len(both) > 1 {
		notes = append(notes, fmt.Sprintf("both sides ran %s; each measure is compared within the one that knows most of it", strings.Join(both, ", ")))
	}
	if untagged(out) {
		notes = append(notes, "runs without an assembly tag count as one assembly each; where the leg was not taken apart between them, the intervals are too narrow")
	}
	return out, notes
}

// untagged says whether a side owes its number of units to runs that name no assembly.
func untagged(routines []routine) bool {
	for _, r := range routines {
		for _, side := range [][]Run{r.a, r.b} {
			n := 0
			for _, run := range side {
				if run.Assembly == "" {
					n++
				}
			}
			if n > 1 {
				return true
			}
		}
	}
	return false
}

// loads says how the load torques of a routine's runs differ, and what else there is to know of them.
func loads(r routine) (differ, note string) {
	loA, hiA, okA := peaks(r.a)
	loB, hiB, okB := peaks(r.b)
	if okA != okB {
		return "", fmt.Sprintf("the load torque in routine %q is known on one side only; that the loads are alike is taken as given", r.name)
	}
	lo, hi := math.Min(loA, loB), math.Max(hiA, hiB)
	if !okA || hi-lo <= loadDiffers*hi {
		return "", ""
	}
	said := fmt.Sprintf("the load torque differs (%.3f to %.3f N·m in the first, %.3f to %.3f N·m in the second side)", loA, hiA, loB, hiB)
	if stalled(r.a) || stalled(r.b) {
		// A joint in stall does not reach the angle where its load is greatest.
		return "", said + "; since a run stalled, that may be the fault and not the load"
	}
	return said, said + ": in routine " + r.name + " figures that hang on the load are not compared, save what the load costs the drive"
}

func peaks(runs []Run) (lo, hi float64, ok bool) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, r := range runs {
		if m, found := r.Joint.Find(loadMeasure, health.NoPath); found && m.Status == health.Measured && finite(m.Value) {
			lo, hi, ok = math.Min(lo, m.Value), math.Max(hi, m.Value), true
		}
	}
	return lo, hi, ok
}

func stalled(runs []Run) bool {
	return slices.ContainsFunc(runs, func(r Run) bool {
		m, ok := r.Joint.Find("stall_time", health.NoPath)
		return ok && (m.Status == health.Measured || m.Status == health.BoundLow) && m.Value > 0
	})
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func nonEmpty(s string) []string {
	if s == "" {
		return nil
	}
	return []string{s}
}
