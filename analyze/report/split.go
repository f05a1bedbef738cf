package report

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"limbgauge/analyze/health"
	"limbgauge/analyze/lost"
)

// split says where a joint loses its motion, by stretch and kind.
type split struct {
	Lead      string
	Stretches []splitStretch
	Rest      string // what of the whole deviation nobody explains
	Drawing   template.HTML
}

type splitStretch struct {
	Name  string
	Parts []splitPart
}

type splitPart struct {
	Chip        template.HTML
	Name, Value string // Value is empty where the part was not seen
}

// stretchWords call a path a stretch of the joint.
var stretchWords = map[health.Path]string{health.Servo: "servo", health.Transmission: "transmission", health.Total: "whole joint"}

// LostWords sums up in a sentence what a joint loses, by how much, where most of it, and what is not known.
func LostWords(s lost.Split) string {
	v, pm := Figure(s.Known, s.U, 2)
	said := v + " deg are lost in ways that were seen"
	if pm != "" {
		said = v + " ± " + pm + " deg are lost in ways that were seen"
	}
	if mm := s.MM(s.Known); !math.IsNaN(mm) {
		said += fmt.Sprintf(", %.1f mm at the foot", mm)
	}
	if p, ok := s.Most(); ok {
		said += fmt.Sprintf("; most of it by %s of the %s", p.Kind, stretchWords[p.Path])
	}
	if s.Unexplained() {
		said += fmt.Sprintf("; of the whole deviation of %.2f deg, %.2f deg are not explained by them", s.Whole, s.Rest)
	}
	return said + "."
}

// splitOf returns nil where nothing of a joint's loss was seen.
func splitOf(j health.Joint, armM float64) *split {
	s := lost.Of(j, armM)
	out := &split{Lead: LostWords(s)}
	seen := false
	for _, p := range s.Parts {
		name := stretchWords[p.Path]
		if n := len(out.Stretches); n == 0 || out.Stretches[n-1].Name != name {
			out.Stretches = append(out.Stretches, splitStretch{Name: name})
		}
		v := splitPart{Name: string(p.Kind)}
		if !math.IsNaN(p.Deg) {
			v.Value = Amount(health.Measure{Value: p.Deg, Uncertainty: p.U, Unit: "deg", Status: statusOf(p)})
		}
		if p.Seen() {
			seen = true
			v.Chip = template.HTML(`<svg class="chip" viewBox="0 0 14 14" aria-hidden="true" focusable="false">`) + patch(p, 0, 14, 14) + "</svg>"
		}
		last := &out.Stretches[len(out.Stretches)-1]
		last.Parts = append(last.Parts, v)
	}
	if !seen {
		return nil
	}
	if s.Unexplained() {
		out.Rest = fmt.Sprintf("%.2f deg", s.Rest)
	}
	out.Drawing = drawSplit(s)
	return out
}

func statusOf(p lost.Part) health.Status {
	if p.AtMost {
		return health.BoundHigh
	}
	return health.Measured
}

// drawSplit lays the parts end to end, the stretches a wider gap apart, and what is not known as an outline behind.
func drawSplit(s lost.Split) template.HTML {
	const w, h, gap, wide = 400.0, 18.0, 1.5, 5.0
	whole := s.Known
	if s.Unexplained() {
		whole += s.Rest
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="split" viewBox="0 0 %g %g" preserveAspectRatio="none" aria-hidden="true" focusable="false">`, w, h)
	x := 0.0
	put := func(deg, behind float64, draw func(x, d float64) template.HTML) {
		if d := deg / whole * w; d > 0 {
			b.WriteString(string(draw(x, max(d-behind, 0.5))))
			x += d
		}
	}
	for i, p := range s.Parts {
		if !p.Seen() {
			continue
		}
		behind := gap
		if i+1 < len(s.Parts) && s.Parts[i+1].Path != p.Path {
			behind = wide
		}
		put(p.Deg, behind, func(x, d float64) template.HTML { return patch(p, x, d, h) })
	}
	if s.Unexplained() {
		put(s.Rest, gap, func(x, d float64) template.HTML {
			return template.HTML(fmt.Sprintf(`<rect class="k-rest" x="%.1f" y="0.7" width="%.1f" height="%g"/>`, x, d, h-1.4))
		})
	}
	b.WriteString("</svg>")
	return template.HTML(b.String())
}

// patch is an area with the look of a part: its tone tells the stretch, its texture the kind, so that a print
// without colours tells them too: whole is a dead zone, cut upright a compliance, cut along friction.
func patch(p lost.Part, x, width, height float64) template.HTML {
	var b strings.Builder
	fmt.Fprintf(&b, `<rect class="k-%s" x="%.1f" width="%.1f" height="%g"/>`, p.Path, x, width, height)
	var cuts strings.Builder
	switch p.Kind {
	case lost.Compliance:
		for at := 4.5; at < width; at += 9 {
			fmt.Fprintf(&cuts, "M%.1f 0v%g", x+at, height)
		}
	case lost.Friction:
		for _, share := range []float64{0.3, 0.7} {
			fmt.Fprintf(&cuts, "M%.1f %.1fh%.1f", x, share*height, width)
		}
	}
	if cuts.Len() > 0 {
		fmt.Fprintf(&b, `<path class="k-cuts" d="%s"/>`, cuts.String())
	}
	return template.HTML(b.String())
}
