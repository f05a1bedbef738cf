package report

import (
	"slices"
	"testing"

	"limbgauge/analyze/health"
)

// Every cause names the curves that show it; a curve is shown once; what is not shown is folded; the
// clearest curve of a finding stands beside it.
func TestChosenCurves(t *testing.T) {
	curves := func(ids ...string) (out []health.Curve) {
		for _, id := range ids {
			out = append(out, health.Curve{ID: id})
		}
		return out
	}
	whole := curves("loop-total", "error-total", "loop-servo", "error-servo", "loop-transmission", "error-transmission", "friction", "current", "supply", "hold", "step")
	for _, c := range health.Causes() {
		if _, ok := shownBy[c]; ok == (c == health.None) {
			t.Errorf("%s: names curves is %v", c, ok)
		}
	}
	for name, c := range map[string]struct {
		curves []health.Curve
		causes []health.Cause
		shows  []int
		open   []int
	}{
		"nothing found":       {whole, []health.Cause{health.None}, []int{-1}, []int{0, 1, 4}},
		"slack":               {whole, []health.Cause{health.BeltSlack}, []int{4}, []int{0, 5, 1}},
		"slack, one sensor":   {curves("current", "loop-total", "error-total"), []health.Cause{health.BeltSlack}, []int{1}, []int{2, 0}},
		"two causes":          {whole, []health.Cause{health.HighFriction, health.SupplySag}, []int{6, 8}, []int{4, 0, 7}},
		"two of one curve":    {whole, []health.Cause{health.NearStall, health.Stall}, []int{7, 3}, []int{1, 0, 4}},
		"no curve":            {nil, []health.Cause{health.Stall}, []int{-1}, nil},
		"a curve of no list":  {curves("other"), []health.Cause{health.None}, []int{-1}, []int{0}},
		"a cause of no table": {whole, []health.Cause{"odd"}, []int{-1}, []int{0, 1, 4}},
	} {
		j := health.Joint{Curves: c.curves}
		for _, k := range c.causes {
			j.Findings = append(j.Findings, health.Finding{Cause: k})
		}
		shows, open, folded := chosen(j)
		if !slices.Equal(shows, c.shows) || !slices.Equal(open, c.open) {
			t.Errorf("%s: shows %v, open %v, want %v, %v", name, shows, open, c.shows, c.open)
		}
		all := append(append(slices.DeleteFunc(slices.Clone(shows), func(i int) bool { return i < 0 }), open...), folded...)
		slices.Sort(all)
		for i := range c.curves {
			if i >= len(all) || all[i] != i {
				t.Errorf("%s: %v are not every curve once", name, all)
				break
			}
		}
	}
}
