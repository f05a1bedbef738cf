package compare

import (
	"fmt"
	"math"
	"strings"

	"limbgauge/analyze/health"
)

// sentence puts the comparison into one sentence; measures that are asked for count.
func sentence(rows []Row, o Options) string {
	by := map[Verdict][]string{}
	var refused []string
	asked, alone, why := 0, 0, ""
	for _, r := range rows {
		if !r.Asked {
			continue
		}
		asked++
		switch {
		case strings.HasPrefix(r.Why, notComparable):
			refused, why = append(refused, title(r)), strings.TrimPrefix(r.Why, notComparable)
		default:
			if r.Verdict == Cannot && min(r.NA, r.NB) == 1 {
				alone++
			}
			by[r.Verdict] = append(by[r.Verdict], title(r))
		}
	}
	if asked == 0 {
		return "No measure has a limit in [joint.limits], so none counts for a verdict on the whole."
	}
	if len(refused) == asked {
		return "The two sides are " + notComparable + why + "."
	}
	var parts []string
	for _, v := range []struct {
		v     Verdict
		words string
	}{{Better, "better in "}, {Worse, "worse in "}, {Differs, "different in "}, {Same, "the same within the margin in "}} {
		if list := by[v.v]; len(list) > 0 {
			parts = append(parts, v.words+strings.Join(list, ", "))
		}
	}
	s := strings.Join(parts, "; ")
	switch {
	case s == "":
		s = "nothing can be told of " + o.B + " against " + o.A
	default:
		s = o.B + " is " + s
	}
	if list := by[Cannot]; len(list) > 0 {
		s += "; not told: " + strings.Join(list, ", ")
	}
	if len(refused) > 0 {
		s += "; not comparable: " + strings.Join(refused, ", ")
	}
	if alone > 0 {
		s += "; with one assembly or run on a side, how much re-assembly scatters is not known"
	}
	if strings.HasPrefix(s, "the ") || strings.HasPrefix(s, "nothing ") { // a side's own name is written as it is
		s = strings.ToUpper(s[:1]) + s[1:]
	}
	return s + "."
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

// families says which measures share one adjusting.
func families(rows []Row, asked int, o Options) (notes []string) {
	all := 0
	for _, r := range rows {
		if !math.IsNaN(r.P) {
			all++
		}
	}
	const holm = "probabilities are adjusted (Holm) over the %d measures %s, so that of sides that are alike at most 1 comparison in 20 names a difference at all"
	switch {
	case asked > 1 && len(o.Measures) > 0:
		notes = append(notes, fmt.Sprintf(holm, asked, "named"))
	case asked > 1:
		notes = append(notes, fmt.Sprintf(holm, asked, "that have a limit"))
	}
	if all > asked && all > 1 {
		notes = append(notes, fmt.Sprintf("measures that nobody asked for are adjusted over all %d", all))
	}
	return notes
}
