package compare

import (
	"fmt"
	"math"
	"strings"

	"limbgauge/analyze/health"
)

// namesMost is how many measures a headline names before it counts them.
const namesMost = 3

// few says what is missing where a side has one assembly.
const few = "two assemblies each are the least: with one, how much re-assembly scatters is not known"

// told are the verdicts in the order a sentence tells them; those that show no difference a headline counts.
var told = []struct {
	verdict Verdict
	in      string // before the names
	counted string // after the number
}{
	{Better, "better in ", ""}, {Worse, "worse in ", ""}, {Differs, "different in ", ""}, {Same, "the same within the margin in ", "the same"},
	{Cannot, "", "cannot tell"},
}

// say puts the comparison into one sentence, and into a headline; measures that are asked for count.
func (res *Result) say(o Options) {
	by := map[Verdict][]string{}
	var refused []string
	asked, alone, why := 0, 0, ""
	for _, r := range res.Rows {
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
	switch {
	case asked == 0:
		res.Sentence = "No measure has a limit, so none counts for a verdict on the whole; keys such as play_deg in [joint.limits] set them."
	case len(refused) == asked:
		res.Sentence = "The two sides are " + notComparable + why + "."
	}
	if res.Headline = res.Sentence; res.Sentence != "" {
		return
	}
	if alone > 0 {
		res.Few = few
	}
	var parts, short []string
	for _, v := range told {
		list := by[v.verdict]
		if len(list) == 0 {
			continue
		}
		if v.verdict != Cannot {
			parts = append(parts, v.in+strings.Join(list, ", "))
		}
		switch {
		case v.counted != "":
			short = append(short, fmt.Sprintf("%d %s", len(list), v.counted))
		case len(list) > namesMost:
			short = append(short, fmt.Sprintf("%s%d measures", v.in, len(list)))
		default:
			short = append(short, v.in+strings.Join(list, ", "))
		}
	}
	s := strings.Join(parts, "; ")
	if s == "" {
		s = "nothing can be told of " + o.B + " against " + o.A
	} else {
		s = o.B + " is " + s
	}
	if list := by[Cannot]; len(list) > 0 {
		s += "; cannot tell: " + strings.Join(list, ", ")
	}
	if len(refused) > 0 {
		s += "; not comparable: " + strings.Join(refused, ", ")
		short = append(short, fmt.Sprintf("%d not comparable", len(refused)))
	}
	if res.Few != "" {
		s += "; " + res.Few
	}
	if strings.HasPrefix(s, "the ") || strings.HasPrefix(s, "nothing ") { // a side's own name is written as it is
		s = strings.ToUpper(s[:1]) + s[1:]
	}
	res.Sentence, res.Headline = s+".", o.B+": "+strings.Join(short, "; ")
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
