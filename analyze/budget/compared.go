package budget

import (
	"fmt"
	"math"

	"limbgauge/analyze/health"
)

// Compared sets one figure of the budget beside what the bench measured.
type Compared struct {
	Joint   string `json:"joint"`
	What    string `json:"what"`
	Unit    string `json:"unit"`
	Budget  Number `json:"budget"`
	Bench   Number `json:"bench"`
	BenchU  Number `json:"bench_uncertainty"`
	Status  string `json:"status"` // of the bench's figure
	Run     string `json:"run"`
	Verdict string `json:"verdict"` // pass, fail, unproven; empty where nothing is to be held
	Words   string `json:"words"`
}

// measure returns a measure that was seen, the joint's own before that of a stretch of it.
func (x Seen) measure(name string) (health.Measure, bool) {
	for _, path := range []health.Path{health.NoPath, health.Transmission, health.Total, health.Servo} {
		for _, m := range x.Measures {
			if m.Name == name && m.Path == path && m.Status != health.NotObservable && !math.IsNaN(m.Value) {
				return m, true
			}
		}
	}
	return health.Measure{}, false
}

// compared sets the budget beside the bench, joint by joint.
func (s Setup) compared(a Answer, seen map[string]Seen) (out []Compared) {
	for k, r := range a.Joints {
		j := s.Joints[k]
		x, ok := seen[j.Name]
		if !ok {
			continue
		}
		row := func(what, unit string, budget float64, m health.Measure, verdict health.Verdict, words string) {
			out = append(out, Compared{j.Name, what, unit, Number(budget), Number(m.Value), Number(m.Uncertainty), string(m.Status), x.Run, string(verdict), words})
		}
		if m, ok := x.measure("load_torque_peak"); ok {
			// The bench proves a joint only as far as it loaded it.
			m.Limit, m.Verdict = math.NaN(), health.NoVerdict
			reach := health.Pass
			words := "the bench has loaded the joint at least so far"
			if m.Value+nz(m.Uncertainty) < r.PeakNm {
				reach, words = health.Unproven, "the robot asks for more than the bench has tried; hang more weight on"
			}
			row("greatest torque", "N·m", r.PeakNm, m, reach, words)
			if u, ok := x.measure("torque_use"); ok && j.StallNm > 0 {
				plain := m.Value / (j.Ratio * j.Efficiency) / j.RatedNm
				words := "share of the stall torque: by load, belt and data sheet, and as the run saw it"
				verdict := health.Pass
				if u.Value-nz(u.Uncertainty) > plain*(1+2*stallU) {
					verdict, words = health.Fail, "the joint needs more of its torque than load, belt and data sheet explain: a sagging supply, friction or a tired motor"
				}
				row("torque use on the bench", "1", plain, u, verdict, words)
			}
		}
		if m, ok := x.measure("belt_tension"); ok && !math.IsNaN(float64(r.Tension)) {
			v := health.Judge(m, float64(r.Tension)).Verdict
			words := map[health.Verdict]string{
				health.Pass:     "tight enough against skipping under the greatest torque",
				health.Fail:     fmt.Sprintf("too loose: tighten to %.0f to %.0f N", float64(r.Tension), FullShare*float64(r.Pull)),
				health.Unproven: fmt.Sprintf("not shown to be tight enough; %.0f to %.0f N are wanted", float64(r.Tension), FullShare*float64(r.Pull)),
			}[v]
			row("belt tension", "N", float64(r.Tension), m, v, words)
		}
		if m, ok := x.measure("friction"); ok {
			row("friction", "N·m", math.NaN(), m, health.NoVerdict, fmt.Sprintf("%.0f %% of the torque the budget allows", 100*m.Value/(s.Allowed()*math.Max(j.StallNm, 1e-9)*j.Ratio*j.Efficiency)))
		}
	}
	return out
}

func nz(u float64) float64 {
	if math.IsNaN(u) {
		return 0
	}
	return u
}
