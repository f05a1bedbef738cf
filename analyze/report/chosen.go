package report

import "limbgauge/analyze/health"

// shownBy says which curves show a cause, the clearest first. A curve that a joint does not have is
// passed over.
var shownBy = map[health.Cause][]string{
	health.BeltTensionLow:   {"loop-transmission", "loop-total", "step"},
	health.BeltSlack:        {"loop-transmission", "loop-total", "error-transmission"},
	health.ServoPlay:        {"loop-servo", "loop-total", "error-servo"},
	health.ExcessCompliance: {"loop-transmission", "loop-total", "step"},
	health.Creep:            {"hold", "loop-transmission", "loop-total"},
	health.HornSlip:         {"error-transmission", "error-total", "hold"},
	health.ToothSkip:        {"error-transmission", "error-total", "loop-total"},
	health.TightSpot:        {"friction", "current", "error-total"},
	health.HighFriction:     {"friction", "loop-transmission", "loop-total"},
	health.NearStall:        {"current", "error-servo", "error-total"},
	health.Stall:            {"current", "error-servo", "error-total"},
	health.SupplySag:        {"supply", "current"},
	health.Hunting:          {"step", "current", "hold"},
	health.SensorFault:      {"error-total", "loop-total", "step"},
	health.LostSamples:      {"step", "current"},
}

// usual are the curves that say most about a joint in which nothing was found.
var usual = []string{"loop-total", "error-total", "loop-transmission", "response-total", "current", "hold"}

const shownAtOnce = 3 // curves of a joint that are not folded away

// chosen picks the curves of a joint that a reader sees first: for each finding the clearest that is
// left, by the cause's own list; then more until there are as many as are shown at once. shows has -1
// for a finding that no curve shows.
func chosen(j health.Joint) (shows, open, folded []int) {
	taken := map[int]bool{}
	pick := func(ids []string) int {
		for _, id := range ids {
			for i, c := range j.Curves {
				if (c.ID == id || id == "") && !taken[i] {
					taken[i] = true
					return i
				}
			}
		}
		return -1
	}
	var wanted []string
	for _, f := range j.Findings {
		wanted = append(wanted, shownBy[f.Cause]...)
		shows = append(shows, pick(shownBy[f.Cause]))
	}
	wanted = append(wanted, usual...)
	wanted = append(wanted, "") // any
	for range shownAtOnce {
		if i := pick(wanted); i >= 0 {
			open = append(open, i)
		}
	}
	for i := range j.Curves {
		if !taken[i] {
			folded = append(folded, i)
		}
	}
	return shows, open, folded
}

// badCourse says whether a measure's course over the runs is shown at once: it was warned of, or this run's
// value misses its limit.
func badCourse(h History, j health.Joint) bool {
	m, _ := j.Find(h.Measure, h.Path)
	return len(h.Warned) > 0 || m.Verdict == health.Fail
}
