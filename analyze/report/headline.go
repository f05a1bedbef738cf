package report

import (
	"strings"
	"unicode"

	"limbgauge/analyze/health"
)

// headline is what a reader in a hurry takes away: what is the matter, and what to do next.
type headline struct {
	Mark     Sign
	Sentence string
	Next     string
	Also     []string // what else needs saying before the details
}

const namedAtOnce = 3 // causes or measures named in one sentence

// headlineOf sums the joints up, worst first: faults, then warnings, failed limits without a cause,
// limits not proven, nothing judged, all well.
func headlineOf(d *Document) headline {
	h := judgement(d.Health.Joints)
	if d.Run.CutShort {
		h.Also = append(h.Also, "The run was cut short"+colon(d.Run.Ended)+". The figures rest on the part that was recorded.")
		if h.Mark.Shape == shapeGood {
			h.Mark = Sign{shapeDoubt, "cut short"}
			h.Sentence = "Nothing wrong so far, but the run did not reach its end."
			h.Next = "Find out what stopped it, then repeat the routine."
		}
	}
	return h
}

func colon(s string) string {
	if s = strings.TrimRight(clean(s), ". "); s == "" {
		return ""
	}
	return ": " + s
}

// shortName keeps a headline readable whatever a joint is called; the section has the whole name.
func shortName(joint string) string {
	const most = 40
	r := []rune(clean(joint))
	if len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return string(r)
}

type named struct {
	joint   string
	finding health.Finding
}

func judgement(joints []health.Joint) headline {
	if len(joints) == 0 {
		return headline{Mark: Sign{shapeNone, "nothing analysed"}, Sentence: "Nothing was analysed: the run has no joint.",
			Next: "Check that the log holds samples of the joints named in bench.toml."}
	}
	found := map[health.Severity][]named{}
	verdicts := map[health.Verdict][]string{}
	var beyond []string // limits that this stand can never prove kept
	for _, j := range joints {
		for _, f := range j.Findings {
			if f.Cause != health.None {
				found[f.Severity] = append(found[f.Severity], named{shortName(j.Joint), f})
			}
		}
		for _, m := range j.Measures {
			if m.Verdict == health.Unproven && m.OnlyFails() {
				beyond = append(beyond, measureName(m)+" of the "+shortName(j.Joint)+", "+Amount(m))
				continue
			}
			verdicts[m.Verdict] = append(verdicts[m.Verdict], measureName(m)+" of the "+shortName(j.Joint))
		}
	}
	faults, warnings := found[health.SeverityFault], found[health.SeverityWarning]
	switch {
	case len(faults) > 0:
		h := headline{Mark: Sign{shapeBad, "repair"}, Sentence: "Repair needed: " + causesOf(faults) + ".", Next: nextOf(faults)}
		if len(warnings) > 0 {
			h.Also = append(h.Also, "Also watch: "+causesOf(warnings)+".")
		}
		return h
	case len(warnings) > 0:
		return headline{Mark: Sign{shapeWarning, "watch"}, Sentence: "No fault yet, but watch: " + causesOf(warnings) + ".", Next: nextOf(warnings)}
	case len(verdicts[health.Fail]) > 0:
		return headline{Mark: Sign{shapeBad, "limit missed"},
			Sentence: "Outside the limits, and no cause was found: " + list(verdicts[health.Fail], namedAtOnce) + ".",
			Next:     "Look at the curves of that joint, then repeat the run to see whether it stays."}
	case len(verdicts[health.Unproven]) > 0:
		return headline{Mark: Sign{shapeDoubt, "unproven"},
			Sentence: "No fault found, but not proven good: " + list(verdicts[health.Unproven], namedAtOnce) + ".",
			Next:     "See in the table why, then repeat with more cycles or another mounting."}
	case len(verdicts[health.Pass]) == 0 && len(beyond) == 0:
		return headline{Mark: Sign{shapeDoubt, "not judged"}, Sentence: "No fault found, but nothing was judged: no limit is set.",
			Next: "Set what you accept under [joint.limits] in bench.toml and analyse the run again."}
	}
	h := headline{Mark: Sign{shapeGood, "good"},
		Sentence: "No fault found; " + limitsKept(len(verdicts[health.Pass])) + " by the whole uncertainty.",
		Next:     "Keep this run as a baseline and repeat the same routine after the next hours of use."}
	if len(beyond) > 0 {
		if len(verdicts[health.Pass]) == 0 {
			h.Mark, h.Sentence = Sign{shapeDoubt, "unproven"}, "No fault found, but nothing was proven good."
		}
		h.Also = append(h.Also, "Not to be proven here, as it is only known from the other side: "+list(beyond, namedAtOnce)+".")
	}
	if hints := found[health.SeverityHint]; len(hints) > 0 {
		h.Also = append(h.Also, "Worth knowing: "+causesOf(hints)+".")
	}
	return h
}

func limitsKept(n int) string {
	if n == 1 {
		return "the one limit is kept"
	}
	return "all " + number(float64(n), 0) + " limits are kept"
}

// causesOf names causes with their joint, the same cause only once.
func causesOf(all []named) string {
	var order []string
	joints := map[string][]string{}
	for _, n := range all {
		t := CauseTitle(n.finding.Cause)
		if _, ok := joints[t]; !ok {
			order = append(order, t)
		}
		joints[t] = append(joints[t], n.joint)
	}
	words := make([]string, len(order))
	for i, t := range order {
		words[i] = t + " in the " + list(joints[t], namedAtOnce)
	}
	return list(words, namedAtOnce)
}

// nextOf gives the first step, and how many more wait below.
func nextOf(all []named) string {
	s := Sentence(all[0].finding.Next)
	if s == "" {
		s = "See the evidence below."
	}
	if len(all) > 1 {
		s = "First the " + all[0].joint + ": " + lower(s)
	}
	return s
}

// lower turns a leading capital down, unless the word is one of capitals.
func lower(s string) string {
	r := []rune(s)
	if len(r) == 0 || (len(r) > 1 && !unicode.IsLower(r[1])) {
		return s
	}
	r[0] = unicode.ToLower(r[0])
	return string(r)
}

func measureName(m health.Measure) string {
	t := lower(measureTitle(m.Name))
	if m.Path != health.NoPath {
		t += " (" + clean(string(m.Path)) + ")"
	}
	return t
}
