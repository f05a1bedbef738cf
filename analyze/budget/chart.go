package budget

import (
	"fmt"
	"math"
	"strings"
)

const chartRows, chartColumns = 9, 10

// Map draws the share of the stall torque, in per cent, over the places of the foot, with the letter of
// the joint that needs most. Places that the leg does not reach stay empty.
func Map(s Setup, a Answer) string {
	s = s.Settled()
	force := a.Share * float64(a.DemandKg) * gravity * math.Cos(s.Slope)
	var b strings.Builder
	b.WriteString("  share of the stall torque in %, and the joint that needs most (y, h, k):\n")
	fmt.Fprintf(&b, "  %-8s", "below mm")
	for c := range chartColumns {
		fmt.Fprintf(&b, "%6.0f", 1000*between(s.Space.ReachM, c, chartColumns))
	}
	b.WriteString("  mm out\n")
	for r := range chartRows {
		h := between(s.Space.HeightM, r, chartRows)
		fmt.Fprintf(&b, "  %8.0f", 1000*h)
		for c := range chartColumns {
			cell := ""
			if q, ok := s.Leg.Pose(between(s.Space.ReachM, c, chartColumns), h); ok {
				most := -1.0
				for k, p := range s.Leg.pulls(q) {
					if u := s.Joints[k].motor(p.torque(force, s.sideways())); u > most {
						most, cell = u, fmt.Sprintf("%.0f%c", 100*u, Places()[k][0])
					}
				}
				if most > a.Allowed {
					cell += "!"
				} else {
					cell += " "
				}
			}
			fmt.Fprintf(&b, "%6s", cell)
		}
		b.WriteString("\n")
	}
	fmt.Fprintf(&b, "  ! above the %.2f that is allowed\n", a.Allowed)
	return b.String()
}
