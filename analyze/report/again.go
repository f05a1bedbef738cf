package report

import (
	"slices"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// Again is the run that shows a finding again, or that it is gone.
type Again struct{ Joint, Routine string }

// longer names the routine of causes that another shows better than the one they were found with: what gives way
// under load needs time [common practice].
var longer = map[health.Cause]string{health.Creep: "hold"}

// AllMeasured is the routine that shows every cause the others do.
const AllMeasured = "assembly"

// AgainOf returns the run to make after a finding of a joint: with the routine that showed it where that is a
// built-in one, so that the two runs compare. It is nil where nothing was found.
func AgainOf(cause health.Cause, joint, routine string) *Again {
	if cause == health.None {
		return nil
	}
	if r, ok := longer[cause]; ok {
		routine = r
	}
	if !slices.Contains(rig.RoutineNames(), routine) {
		routine = AllMeasured
	}
	return &Again{joint, routine}
}
