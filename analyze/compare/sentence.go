package compare

import (
	"fmt"
	"math"
	"strings"

	"limbgauge/analyze/health"
)

// sentence puts the comparison into one sentence; measures that have a limit count, since those are
// what the builder asked for.
func sentence(rows []Row, routines []routine) string {
	by := map[Verdict][]string{}
	asked, load, alone := 0, 0, 0
	for _, r := range rows {
		if math.IsNaN(r.A.Limit) && math.IsNaN(r.B.Limit) {
			continue
		}
		asked++
		if strings.HasPrefix(r.Why, notComparable) {
			load++
			continue
		}
		if r.Verdict != Cannot && (r.NA < 2 || r.NB < 2) {
			alone++
		}
		by[r.Verdict] = append(by[r.Verdict], title(r))
	}
	if asked == 0 {
		return "No measure has a limit in [joint.limits], so none counts for a verdict on the whole."
	}
	if load == asked {
		return "The two sides are not comparable because " + loadOf(routines) + "."
	}
	var parts []string
	for _, v := range []Verdict{Better, Worse, Differs} {
		if len(by[v]) > 0 {
			parts = append(parts, string(v)+": "+strings.Join(by[v], ", "))
		}
	}
	switch {
	case len(parts) == 0:
		parts = []string{"none is seen to differ"}
	case len(by[Better]) > 0 && len(by[Worse]) == 0:
		parts = append(parts, "none is seen to be worse")
	case len(by[Worse]) > 0 && len(by[Better]) == 0:
		parts = append(parts, "none is seen to be better")
	}
	if n := len(by[Cannot]); n > 0 {
		parts = append(parts, fmt.Sprintf("%d cannot be told", n))
	}
	if load > 0 {
		parts = append(parts, fmt.Sprintf("%d not comparable because %s", load, loadOf(routines)))
	}
	if alone > 0 {
		parts = append(parts, "with one run or assembly on a side, how much re-assembly scatters is not in it")
	}
	return "Of the measures with a limit, " + strings.Join(parts, "; ") + "."
}

func loadOf(routines []routine) string {
	for _, r := range routines {
		if r.load != "" {
			return r.load
		}
	}
	return ""
}

// title returns a measure's name in words, to stand within a sentence.
func title(r Row) string {
	d, _ := health.DefinitionOf(r.A.Name)
	name := strings.ToLower(d.Title[:1]) + d.Title[1:]
	if r.A.Path != "" {
		name += " (" + string(r.A.Path) + ")"
	}
	return name
}
