package report

import (
	"slices"
	"strings"

	"limbgauge/analyze/health"
)

// tablesOf sorts measures into those judged against a limit, worst verdict first, all others,
// gathered by name, and of these the ones that no path shows: a routine asks for some measures only,
// and what it does not ask for must not bury what it found. Within each the order is that of the
// definitions.
func tablesOf(ms []health.Measure) (judged []measureView, others, missing []groupView) {
	for _, m := range worstFirst(ms) {
		v := measureOf(m)
		switch {
		case m.Verdict != health.NoVerdict:
			judged = append(judged, v)
		case len(others) > 0 && others[len(others)-1].Title == v.Title:
			last := &others[len(others)-1]
			last.Rows = append(last.Rows, v)
		default:
			others = append(others, groupView{Title: v.Title, Rows: []measureView{v}})
		}
	}
	for i := range others {
		others[i].How = howOf(others[i].Rows)
		others[i].shareRemark()
	}
	seen := others[:0:0]
	for _, g := range others {
		if slices.ContainsFunc(g.Rows, func(r measureView) bool { return !r.Unseen }) {
			seen = append(seen, g)
			continue
		}
		g.shareReason()
		missing = append(missing, g)
	}
	return judged, seen, missing
}

// howOf tells how figures were got, what paths have in common once.
func howOf(rows []measureView) (out []howView) {
	for _, r := range rows {
		h := howView{r.PathTitle, r.Method, r.Source}
		i := slices.IndexFunc(out, func(o howView) bool { return o.Method == h.Method && o.Source == h.Source })
		switch {
		case i < 0:
			out = append(out, h)
		case h.PathTitle != "":
			out[i].PathTitle = strings.TrimPrefix(out[i].PathTitle+"; "+h.PathTitle, "; ")
		}
	}
	return out
}

// shareReason says once why no path was seen, where it is one reason.
func (g *groupView) shareReason() {
	var paths []string
	for _, r := range g.Rows {
		if r.Remark != g.Rows[0].Remark {
			return
		}
		paths = append(paths, r.Path)
	}
	g.Paths = strings.Join(paths, ", ")
}

// shareRemark says once what holds for every path.
func (g *groupView) shareRemark() {
	for _, r := range g.Rows {
		if r.Unseen || r.Remark != g.Rows[0].Remark {
			return
		}
	}
	if len(g.Rows) > 1 {
		g.Remark = g.Rows[0].Remark
		for i := range g.Rows {
			g.Rows[i].Remark = ""
		}
	}
}

// worstFirst sorts by verdict, those without one last, and within it by the order of the definitions.
func worstFirst(ms []health.Measure) []health.Measure {
	order := map[string]int{}
	for i, d := range health.Definitions() {
		order[d.Name] = i + 1
	}
	rank := map[health.Verdict]int{health.Fail: 1, health.Unproven: 2, health.Pass: 3, health.NoVerdict: 4}
	sorted := slices.Clone(ms)
	slices.SortStableFunc(sorted, func(a, b health.Measure) int {
		if r := rank[a.Verdict] - rank[b.Verdict]; r != 0 {
			return r
		}
		return order[a.Name] - order[b.Name]
	})
	return sorted
}
