package report

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"limbgauge/analyze/health"
)

// split says which stretch of a joint loses how much of its motion, by the systematic deviation:
// the range of the mean deviations over all stops and both directions. Ranges of two stretches
// whose extremes lie at different stops add up to more than that of the whole; the text says so.
type split struct {
	Lead    string
	Parts   []splitPart // empty where the stretches cannot be told apart
	Drawing template.HTML
}

type splitPart struct {
	Class, Name, Value string
	Texture            template.HTML // beside the tone, of the 14 px chip
	share              float64
}

// splitOf returns nil where the deviation of the whole joint was not measured.
func splitOf(j health.Joint) *split {
	total, ok := measured(j, health.Total)
	if !ok || total.Value <= 0 {
		return nil
	}
	s := &split{Lead: "From command to joint the mean deviation spans " + Amount(total) + " over all stops and both directions."}
	servo, okS := measured(j, health.Servo)
	trans, okT := measured(j, health.Transmission)
	if sum := servo.Value + trans.Value; okS && okT && sum > 0 {
		s.Parts = []splitPart{
			{"servo", "servo", Amount(servo), "", servo.Value / sum},
			{"transmission", "transmission", Amount(trans), stripes(0, 14, 14), trans.Value / sum},
		}
		u := known(total.Uncertainty) + known(servo.Uncertainty) + known(trans.Uncertainty)
		if sum-total.Value > max(u, 0.02*sum) {
			s.Lead += " The stretches add up to more, as they are worst at different stops."
		}
		s.Drawing = s.draw()
		return s
	}
	s.Lead += " Which stretch loses it is not known: that takes a motor-side angle, or a run of the bare servo to compare with."
	return s
}

func measured(j health.Joint, p health.Path) (health.Measure, bool) {
	m, ok := j.Find("systematic_deviation", p)
	return m, ok && m.Status == health.Measured && drawable(m.Value)
}

func (s *split) draw() template.HTML {
	const w, h = 400.0, 18.0
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="split" viewBox="0 0 %g %g" preserveAspectRatio="none" aria-hidden="true" focusable="false">`, w, h)
	x := 0.0
	for _, p := range s.Parts {
		d := p.share * w
		fmt.Fprintf(&b, `<rect class="k-%s" x="%.1f" width="%.1f" height="%g"/>`, p.Class, x, math.Max(d-1.5, 0), h)
		if p.Texture != "" {
			b.WriteString(string(stripes(x, d-1.5, h)))
		}
		x += d
	}
	b.WriteString("</svg>")
	return template.HTML(b.String())
}

// stripes cut a bar into pieces, so that it is told from a plain one without its tone.
func stripes(from, width, height float64) template.HTML {
	var b strings.Builder
	b.WriteString(`<path class="k-stripes" d="`)
	for x := 4.5; x < width; x += 9 {
		fmt.Fprintf(&b, "M%.1f 0v%g", from+x, height)
	}
	b.WriteString(`"/>`)
	return template.HTML(b.String())
}
