package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"limbgauge/analyze/health"
)

// headline is what a reader in a hurry takes away: what is the matter, and what to do next.
type headline struct {
	Mark     Sign
	Sentence string
	Next     string
	Also     []string // what else needs saying before the details
}

// Long says whether the sentence needs smaller letters to be taken in at a glance.
func (h headline) Long() bool { return utf8.RuneCountInString(h.Sentence) > 90 }

// AfterCut says what to do after a run that did not reach its end and found nothing: who stopped it by hand
// knows why.
func AfterCut(byHand bool) string {
	const again = "run the routine again, to its end"
	if byHand {
		return again
	}
	return "find out what stopped it, then " + again
}

const namedAtOnce = 3 // causes or measures named in one sentence

// headlineOf sums the joints up, worst first: faults, then warnings, failed limits without a cause,
// limits not proven, nothing judged, all well.
func headlineOf(d *Document) headline {
	h := judgement(d.Health.Joints)
	mute := silentOf(d.Health.Joints)
	nothing := len(mute) > 0 && len(mute) == len(d.Health.Joints)
	switch {
	case len(mute) == 0:
	case nothing && h.Mark.Shape == shapeDoubt:
		h.Sentence = "Nothing can be said: " + tooLittle(d.Run) + "."
		h.Mark.Word = "nothing seen"
		if fs := d.Health.Joints[0].Findings; len(fs) > 0 {
			h.Next = first(Sentence(fs[0].Next), h.Next)
		}
	case h.Mark.Shape == shapeGood:
		h.Mark = Sign{shapeDoubt, "not all seen"}
		h.Sentence = "No fault found, but nothing can be said of the " + list(mute, namedAtOnce) + "."
	default:
		h.Also = append(h.Also, "Nothing can be said of the "+list(mute, namedAtOnce)+": "+tooLittle(Run{})+".")
	}
	if silent := unjudged(d); len(silent) > 0 && len(d.Health.Joints) > 0 {
		h.Also = append(h.Also, "Not judged, as too little of it was recorded: "+list(silent, namedAtOnce)+".")
	}
	if d.Run.CutShort {
		h.Also = append([]string{"The run was cut short" + inBrackets(d.Run.Ended) + ". The figures rest on the part that was recorded."}, h.Also...)
		switch h.Mark.Shape {
		case shapeGood:
			h.Sentence = "Nothing wrong so far, but the run did not reach its end."
			h.Mark, h.Next = Sign{shapeDoubt, "cut short"}, Sentence(AfterCut(d.Run.ByHand))
		case shapeDoubt:
			if !nothing {
				h.Sentence = "The run did not reach its end. " + h.Sentence
			}
			h.Mark, h.Next = Sign{shapeDoubt, "cut short"}, Sentence(AfterCut(d.Run.ByHand))
		}
	}
	return h
}

// unjudged names joints of the run of which the analysis says nothing.
func unjudged(d *Document) (out []string) {
	for _, r := range d.Run.Joints {
		if !slices.ContainsFunc(d.Health.Joints, func(j health.Joint) bool { return j.Joint == r.Joint }) {
			out = append(out, shortName(r.Joint))
		}
	}
	return out
}

// silentOf names joints of which the measures say nothing.
func silentOf(joints []health.Joint) (out []string) {
	for _, j := range joints {
		if j.Silent() {
			out = append(out, shortName(j.Joint))
		}
	}
	return out
}

// tooLittle says why nothing can be said.
func tooLittle(r Run) string {
	switch {
	case r.CutShort && r.DurationS > 0:
		return "only " + number(r.DurationS, 1) + " s were recorded"
	case r.CutShort:
		return "too little was recorded"
	}
	return "no measure that would show a fault was seen"
}

func inBrackets(s string) string {
	if s = strings.TrimRight(clean(s), ". "); s == "" {
		return ""
	}
	return " (" + s + ")"
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
	var sound []named   // where nothing was found, and of these
	var hidden []named  // those that say by which test a cause would show that this run hides
	for _, j := range joints {
		for _, f := range j.Findings {
			switch n := (named{shortName(j.Joint), f}); {
			case f.Cause != health.None:
				found[f.Severity] = append(found[f.Severity], n)
			case f.Next != "":
				sound = append(sound, n)
				if len(f.CouldAlsoBe) > 0 {
					hidden = append(hidden, n)
				}
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
		h := headline{Mark: Sign{shapeBad, "repair"}, Sentence: "Change or repair " + partsOf(faults) + ".", Next: nextOf(faults)}
		if len(warnings) > 0 {
			h.Also = append(h.Also, "Also watch "+partsOf(warnings)+".")
		}
		return h
	case len(warnings) > 0:
		return headline{Mark: Sign{shapeWarning, "watch"}, Sentence: "No fault yet, but watch " + partsOf(warnings) + ".", Next: nextOf(warnings)}
	case len(verdicts[health.Fail]) > 0:
		return headline{Mark: Sign{shapeBad, "limit missed"},
			Sentence: "Outside the limits, and no cause was found: " + list(verdicts[health.Fail], namedAtOnce) + ".",
			Next:     "Look at the curves of that joint, then repeat the run to see whether it stays."}
	case len(verdicts[health.Unproven]) > 0:
		h := headline{Mark: Sign{shapeDoubt, "unproven"}, Next: first(nextOfSound(hidden, sound), "See in the table why, then repeat with more cycles or another mounting.")}
		open, kept := verdicts[health.Unproven], len(verdicts[health.Pass])
		h.Sentence = "No fault found, but not proven good: " + list(open, namedAtOnce) + "."
		if len(open) > namedAtOnce {
			missing := len(open) + len(beyond)
			h.Sentence = fmt.Sprintf("No fault found, but %d of %d limits are not proven kept.", missing, kept+missing)
			h.Also = append(h.Also, "Not proven: "+list(open, 2*namedAtOnce)+".")
		}
		if len(beyond) > 0 {
			h.Also = append(h.Also, neverHere(beyond))
		}
		return h
	case len(verdicts[health.Pass]) == 0 && len(beyond) == 0:
		return headline{Mark: Sign{shapeDoubt, "not judged"}, Sentence: "No fault found, but nothing was judged: no limit is set.",
			Next: first(nextOfSound(sound, sound), "Set what you accept under [joint.limits] in bench.toml, and analyse the run again.")}
	}
	h := headline{Mark: Sign{shapeGood, "good"},
		Sentence: "No fault found; " + limitsKept(len(verdicts[health.Pass]), len(beyond)) + ".",
		Next:     first(nextOfSound(hidden, sound), nextOfSound(sound, sound), "Repeat the same routine after the next hours of use.")}
	if len(beyond) > 0 {
		if len(verdicts[health.Pass]) == 0 {
			h.Mark, h.Sentence = Sign{shapeDoubt, "unproven"}, "No fault found, but nothing was proven good."
		}
		h.Also = append(h.Also, neverHere(beyond))
	}
	if hints := found[health.SeverityHint]; len(hints) > 0 {
		h.Also = append(h.Also, "Worth knowing: "+causesOf(hints)+".")
	}
	return h
}

// neverHere names limits that this stand can not prove kept, whatever is run.
func neverHere(beyond []string) string {
	return "Not to be proven here, as it is only known from the other side: " + list(beyond, namedAtOnce) + "."
}

// nextOfSound gives the first step of some of the joints in which nothing was found; one that all of them
// have stands without a joint.
func nextOfSound(some, all []named) string {
	if len(some) == 0 {
		return ""
	}
	next := some[0].finding.Next
	if slices.ContainsFunc(all, func(n named) bool { return n.finding.Next != next }) {
		return "First the " + some[0].joint + ": " + lower(Sentence(next))
	}
	return Sentence(next)
}

// limitsKept counts the limits that are kept, apart from those that this stand can never prove kept.
func limitsKept(kept, beyond int) string {
	is := "are"
	if kept == 1 {
		is = "is"
	}
	switch {
	case beyond > 0:
		return fmt.Sprintf("%d of %d limits %s kept, %d can not be proven here", kept, kept+beyond, is, beyond)
	case kept == 1:
		return "the one limit is kept"
	}
	return fmt.Sprintf("all %d limits are kept", kept)
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

// partsOf names which part of which joint, why and how sure that is. What several joints or causes have in
// common stands once, as sure as the least sure of them.
func partsOf(all []named) string {
	type group struct {
		part           string
		joints, causes []string
		least          float64
	}
	var groups []group
	// Joints of one part and cause first, then causes of one part of the same joints.
	for _, n := range all {
		g := group{clean(n.finding.Part), []string{n.joint}, []string{CauseTitle(n.finding.Cause)}, n.finding.Confidence}
		i := slices.IndexFunc(groups, func(o group) bool { return o.part == g.part && o.causes[0] == g.causes[0] })
		if i < 0 {
			groups = append(groups, g)
			continue
		}
		groups[i].joints, groups[i].least = append(groups[i].joints, n.joint), min(groups[i].least, g.least)
	}
	var merged []group
	for _, g := range groups {
		i := slices.IndexFunc(merged, func(o group) bool { return o.part == g.part && slices.Equal(o.joints, g.joints) })
		if i < 0 {
			merged = append(merged, g)
			continue
		}
		merged[i].causes, merged[i].least = append(merged[i].causes, g.causes[0]), min(merged[i].least, g.least)
	}
	words, least := make([]string, len(merged)), math.Inf(1)
	for i, g := range merged {
		words[i] = "the " + list(g.joints, namedAtOnce)
		if g.part != "" {
			words[i] = "the " + g.part + " of " + words[i]
		}
		sign, end := ": ", ""
		if len(merged) > 1 {
			sign, end = " (", ")"
		}
		words[i] += sign + list(g.causes, namedAtOnce) + end
		least = min(least, g.least)
	}
	said := list(words, namedAtOnce)
	if sure := sureness(least); sure != "" {
		said += ", confidence " + sure
		if len(merged) > 1 {
			said += " or more"
		}
	}
	return said
}

// sureness writes a confidence, "" where there is none. Nothing is surer than 99 %.
func sureness(c float64) string {
	switch {
	case !(c > 0 && c <= 1):
		return ""
	case c > 0.99:
		return "over 99 %"
	}
	return number(math.Round(c*100), 0) + " %"
}

// nextOf gives the first step, naming the joint where others have one too.
func nextOf(all []named) string {
	if len(all) == 0 {
		return ""
	}
	s := first(Sentence(all[0].finding.Next), "See the evidence below.")
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
