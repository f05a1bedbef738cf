package web

import (
	"context"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"strings"

	"limbgauge/analyze/book"
	"limbgauge/analyze/health"
	"limbgauge/analyze/lost"
	"limbgauge/analyze/report"
)

// lostView says of every joint where its motion goes, by its newest whole run.
type lostView struct {
	Joints []lostJoint
	None   []string // joints without such a run
}

type lostJoint struct {
	Name, Run, Lead, Arm string
	Bar                  template.HTML
	Parts                []lostPart
}

type lostPart struct{ Class, Path, Kind, Deg, MM, Remark string }

func (s *server) lost(ctx context.Context, _ *http.Request) (any, error) {
	bench, err := s.desk.Bench()
	if err != nil {
		return nil, err
	}
	return withBook(ctx, s, func(b *book.Book) (v lostView, err error) {
		var splits []lost.Split
		longest := 0.0
		for _, j := range bench.Joints {
			past, err := b.History(ctx, j.Name)
			if err != nil {
				return v, err
			}
			run, found := newest(past)
			if !found {
				v.None = append(v.None, j.Name)
				continue
			}
			arm, why := lost.Arm(bench.Leg.Geometry, j.Name)
			split := lost.Of(health.Joint{Joint: j.Name, Measures: run.Measures}, arm)
			splits = append(splits, split)
			longest = max(longest, split.Known, nought(split.Whole))
			v.Joints = append(v.Joints, lostJoint{Name: j.Name, Run: run.Run.ID, Arm: why, Lead: lead(split), Parts: lostParts(split)})
		}
		for i := range v.Joints { // one scale for all, so that joints compare
			v.Joints[i].Bar = bar(splits[i], longest)
		}
		return v, nil
	})
}

// newest returns the newest whole run that judged the joint.
func newest(past []book.JointPast) (book.JointPast, bool) {
	for i := len(past) - 1; i >= 0; i-- {
		if p := past[i]; p.Run.Whole && !p.Run.Bare && len(p.Measures) > 0 {
			return p, true
		}
	}
	return book.JointPast{}, false
}

func nought(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}

func lead(s lost.Split) string {
	v, pm := report.Figure(s.Known, s.U, 2)
	said := fmt.Sprintf("%s ± %s deg are lost in ways that were seen", v, pm)
	if mm := s.MM(s.Known); !math.IsNaN(mm) {
		said += fmt.Sprintf(", %.1f mm at the foot", mm)
	}
	if !math.IsNaN(s.Rest) && s.Rest > nought(s.WholeU) {
		said += fmt.Sprintf("; of the whole deviation of %.2f deg, %.2f deg are not explained by them", s.Whole, s.Rest)
	}
	return said + "."
}

var pathWords = map[health.Path]string{health.Servo: "servo", health.Transmission: "transmission", health.Total: "the whole joint"}

func lostParts(s lost.Split) []lostPart {
	var out []lostPart
	for _, p := range s.Parts {
		l := lostPart{Class: class(p), Path: pathWords[p.Path], Kind: string(p.Kind), Remark: p.Reason}
		if !math.IsNaN(p.Deg) {
			v, pm := report.Figure(p.Deg, p.U, 2)
			l.Deg = v + " deg"
			if pm != "" {
				l.Deg = v + " ± " + pm + " deg"
			}
			if p.AtMost {
				l.Deg = "at most " + l.Deg
			}
			if mm := s.MM(p.Deg); !math.IsNaN(mm) {
				l.MM = fmt.Sprintf("%.1f mm", mm)
			}
		}
		out = append(out, l)
	}
	if !math.IsNaN(s.Rest) && s.Rest > nought(s.WholeU) {
		l := lostPart{Class: "l-rest", Path: "not known", Kind: "the rest of the whole deviation", Deg: fmt.Sprintf("%.2f deg", s.Rest),
			Remark: "scale and form of servo and sensors, and what could not be seen"}
		if mm := s.MM(s.Rest); !math.IsNaN(mm) {
			l.MM = fmt.Sprintf("%.1f mm", mm)
		}
		out = append(out, l)
	}
	return out
}

// class names the look of a part: its tone by the stretch, its texture by the kind.
func class(p lost.Part) string {
	return "l-" + string(p.Path) + " l-" + strings.ReplaceAll(string(p.Kind), " ", "-")
}

// bar draws a split; deg is the length of the longest. It is told in full by the list beside it.
func bar(s lost.Split, deg float64) template.HTML {
	const w, h = 800.0, 44.0
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="lostbar" viewBox="0 0 %g %g" preserveAspectRatio="none" aria-hidden="true" focusable="false">`, w, h)
	x := 0.0
	put := func(class string, d float64) {
		if deg <= 0 || d <= 0 {
			return
		}
		width := d / deg * w
		fmt.Fprintf(&b, `<rect class="%s" x="%.1f" y="2" width="%.1f" height="%g"/>`, class, x, max(width-2, 1), h-4)
		x += width
	}
	for _, p := range s.Parts {
		if p.Seen() {
			put(class(p), p.Deg)
		}
	}
	if !math.IsNaN(s.Rest) && s.Rest > nought(s.WholeU) {
		put("l-rest", s.Rest)
	}
	b.WriteString("</svg>")
	return template.HTML(b.String())
}
