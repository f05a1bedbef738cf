package web

import (
	"context"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"slices"
	"strings"

	"limbgauge/analyze/book"
	"limbgauge/analyze/health"
	"limbgauge/analyze/lost"
	"limbgauge/analyze/report"
)

// lostView says of every joint where its motion goes, by the whole run of it as it is now that saw most.
type lostView struct {
	Joints []lostJoint
	None   []string // joints without such a run
	// Worst is the joint that loses most, Most how much; "" where none is seen to lose any.
	Worst, Most string
}

// Heading names the joint that loses most.
func (v lostView) Heading() string {
	switch {
	case v.Most == "":
		return "No joint is known to lose motion"
	case len(v.Joints) == 1:
		return v.Most + " are lost in the " + v.Joints[0].Name
	}
	return "The " + v.Worst + " loses most: " + v.Most
}

type lostJoint struct {
	Name, Lead, Arm string
	Run             book.Run
	Bar             template.HTML
	Kinds           []string
	Stretches       []lostStretch
	Rest            *lostPart // what of the whole deviation nobody explains
}

// lostStretch is a stretch of the joint with what it loses in each way.
type lostStretch struct {
	Path  string
	Parts []lostPart
}

type lostPart struct {
	Chip            template.HTML
	Deg, MM, Remark string
}

func (s *server) lost(ctx context.Context, _ *http.Request) (any, error) {
	bench, err := s.desk.Bench()
	if err != nil {
		return nil, err
	}
	return withBook(ctx, s, func(b *book.Book) (v lostView, err error) {
		var splits []lost.Split
		longest, most := 0.0, 0.0
		for _, j := range bench.Joints {
			past, err := b.History(ctx, j.Name)
			if err != nil {
				return v, err
			}
			events, err := b.Events(ctx, j.Name)
			if err != nil {
				return v, err
			}
			run, found := seesMost(past, events)
			if !found {
				v.None = append(v.None, j.Name)
				continue
			}
			arm, why := lost.Arm(bench.Leg.Geometry, j.Name)
			split := lost.Of(health.Joint{Joint: j.Name, Measures: run.Measures}, arm)
			if split.Known > most {
				most = split.Known
				figure, _ := report.Figure(split.Known, split.U, 2)
				v.Worst, v.Most = j.Name, figure+" deg"
			}
			splits = append(splits, split)
			longest = max(longest, split.Known, nought(split.Whole))
			v.Joints = append(v.Joints, lostJoint{Name: j.Name, Run: run.Run, Arm: why, Lead: report.LostWords(split), Kinds: kindWords(), Stretches: stretches(split), Rest: rest(split)})
		}
		for i := range v.Joints { // one scale for all, so that joints compare
			v.Joints[i].Bar = bar(splits[i], longest)
		}
		return v, nil
	})
}

// seesMost returns the whole run that judged the joint and saw most of the ways to lose motion, the newest of these:
// a check sweep sees less than the routine of all measures. Only runs of the joint as it is now are asked: since its
// last service, of the newest run's revision and assembly.
func seesMost(past []book.JointPast, events []book.Alteration) (best book.JointPast, found bool) {
	seen, newest := -1, book.Run{}
	for _, p := range slices.Backward(past) {
		if !p.Run.Whole || p.Run.Bare || len(p.Measures) == 0 {
			continue
		}
		if newest.ID == "" {
			newest = p.Run
		}
		altered := slices.ContainsFunc(events, func(e book.Alteration) bool {
			return e.Service != 0 && e.When.After(p.Run.Started) && !e.When.After(newest.Started)
		})
		if altered || p.Run.Revision != newest.Revision || p.Run.Assembly != newest.Assembly {
			break
		}
		n := 0
		for _, part := range lost.Of(health.Joint{Measures: p.Measures}, 0).Parts {
			if part.Seen() {
				n++
			}
		}
		if n > seen {
			seen, best, found = n, p, true
		}
	}
	return best, found
}

func nought(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}

var pathWords = map[health.Path]string{health.Servo: "servo", health.Transmission: "transmission", health.Total: "the whole joint"}

// kinds are the ways to lose motion in the order in which they are shown.
var kinds = []lost.Kind{lost.DeadZone, lost.Compliance, lost.Friction}

// stretches lists the parts of a split as a table of stretches by kinds.
func stretches(s lost.Split) (out []lostStretch) {
	for _, p := range s.Parts {
		word := pathWords[p.Path]
		if len(out) == 0 || out[len(out)-1].Path != word {
			out = append(out, lostStretch{Path: word, Parts: make([]lostPart, len(kinds))})
		}
		l := lostPart{Chip: chip(tone(p), texture(p)), Remark: p.Reason}
		if !math.IsNaN(p.Deg) {
			v, pm := report.Figure(p.Deg, p.U, 2)
			l.Deg = v + " deg"
			if pm != "" {
				l.Deg = v + " ± " + pm + " deg"
			}
			if p.AtMost {
				l.Deg = "at most " + l.Deg
			}
			l.MM = millimetres(s, p.Deg)
		}
		out[len(out)-1].Parts[slices.Index(kinds, p.Kind)] = l
	}
	return out
}

// rest is what of the whole deviation the parts do not explain, nil where they explain it.
func rest(s lost.Split) *lostPart {
	if !s.Unexplained() {
		return nil
	}
	return &lostPart{Chip: chip("l-rest", ""), Deg: fmt.Sprintf("%.2f deg", s.Rest), MM: millimetres(s, s.Rest),
		Remark: "of the whole deviation of " + fmt.Sprintf("%.2f deg", s.Whole) + ": scale and form of servo and sensors, and what could not be seen"}
}

func millimetres(s lost.Split, deg float64) string {
	mm := s.MM(deg)
	switch {
	case math.IsNaN(mm):
		return ""
	case mm < 0.095:
		return "under 0.1 mm"
	}
	return fmt.Sprintf("%.1f mm", mm)
}

// tone names the colour of a part, by its stretch; texture the pattern over it, by its kind.
func tone(p lost.Part) string    { return "l-" + string(p.Path) }
func texture(p lost.Part) string { return strings.ReplaceAll(string(p.Kind), " ", "-") }

// chip is a small square with the look of a part.
func chip(tone, texture string) template.HTML {
	return template.HTML(`<svg class="chip" viewBox="0 0 18 18" aria-hidden="true" focusable="false">` + patch(tone, texture, `x="1" y="1" width="16" height="16"`) + `</svg>`)
}

// patch is an area with the look of a part: a ground in its tone, and over it the pattern of its kind.
// A pattern is named in the drawing itself: a style sheet would look for it in its own file.
func patch(tone, texture, where string) string {
	out := fmt.Sprintf(`<rect class="%s l-%s" %s/>`, tone, texture, where)
	if texture == string(lost.Compliance) || texture == string(lost.Friction) {
		out += fmt.Sprintf(`<rect class="l-over o%s" fill="url(#%s-%s)" %s/>`, strings.TrimPrefix(tone, "l"), tone, texture, where)
	}
	return out
}

func kindWords() (out []string) {
	for _, k := range kinds {
		out = append(out, string(k))
	}
	return out
}

// bar draws a split; deg is the length of the longest. It is told in full by the table beside it. Its
// lengths are shares of the page's width, so that patterns and letters keep their form at any.
func bar(s lost.Split, deg float64) template.HTML {
	var b strings.Builder
	b.WriteString(`<svg class="lostbar" aria-hidden="true" focusable="false">`)
	var gaps []float64
	x := 0.0
	put := func(tone, texture string, d float64) {
		if deg <= 0 || d <= 0 {
			return
		}
		if x > 0 {
			gaps = append(gaps, x)
		}
		share := d / deg * 100
		b.WriteString(patch(tone, texture, fmt.Sprintf(`x="%.2f%%" y="1.5rem" width="%.2f%%" height="2.75rem"`, x, share)))
		if share > labelShare {
			fmt.Fprintf(&b, `<text x="%.2f%%" y="5.5rem">%s</text>`, x, strings.ReplaceAll(texture, "-", " "))
		}
		x += share
	}
	var path health.Path
	for _, p := range s.Parts {
		if !p.Seen() {
			continue
		}
		if p.Path != path && 100*lostBy(s, p.Path) > labelShare*deg {
			fmt.Fprintf(&b, `<text class="l-name" x="%.2f%%" y="1rem">%s</text>`, x, pathWords[p.Path])
		}
		path = p.Path
		put(tone(p), texture(p), p.Deg)
	}
	if s.Unexplained() {
		put("l-rest", "not-known", s.Rest)
	}
	for _, at := range gaps {
		fmt.Fprintf(&b, `<rect class="l-gap" x="%.2f%%" y="1.375rem" width="2" height="3rem"/>`, at)
	}
	b.WriteString("</svg>")
	return template.HTML(b.String())
}

// labelShare is how much of the width, in percent, a word under a bar needs on a phone.
const labelShare = 24

// lostBy is what one stretch loses in ways that were seen.
func lostBy(s lost.Split, path health.Path) (deg float64) {
	for _, p := range s.Parts {
		if p.Path == path && p.Seen() {
			deg += p.Deg
		}
	}
	return deg
}
