package report

import (
	"fmt"
	"html/template"
	"math"
	"strings"
)

// leanMost is how many margins a difference is drawn to either side; what lies beyond is drawn at the edge.
const leanMost = 4.0

// Lean draws which way a difference leans: gain is how much better the second side is, u its expanded
// uncertainty, margin what does not matter, all in one unit. Worse lies to the left, better to the right
// of the band that does not matter; all drawings have one scale, in margins. It adds nothing to the
// words beside it, so it is hidden from screen readers; it is empty where there is nothing to draw.
func Lean(gain, u, margin float64) template.HTML {
	if !drawable(gain) || !drawable(u) || !(margin > 0) || !drawable(margin) {
		return ""
	}
	at := func(v float64) float64 {
		return gaugeWidth/2 + (gaugeWidth/2-gaugeEdge)*min(max(v/margin/leanMost, -1), 1)
	}
	const mid = gaugeHeight / 2
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="gauge" viewBox="0 0 %g %g" aria-hidden="true" focusable="false">`, gaugeWidth, gaugeHeight)
	fmt.Fprintf(&b, `<rect class="g-same" x="%.1f" y="3" width="%.1f" height="%g"/>`, at(-margin), at(margin)-at(-margin), gaugeHeight-6)
	fmt.Fprintf(&b, `<path class="g-axis" d="M%.1f %gH%.1f"/><path class="g-nought" d="M%.1f 3v%g"/>`, gaugeEdge, mid, gaugeWidth-gaugeEdge, at(0), gaugeHeight-6)
	lo, hi := gain-u, gain+u
	fmt.Fprintf(&b, `<path class="g-bar" d="M%.1f %gH%.1f"/>`, at(lo), mid, at(hi))
	if lo < -leanMost*margin {
		fmt.Fprintf(&b, `<path class="g-tip" d="M%.1f %gl7 -4.5v9z"/>`, at(lo)-4, mid)
	}
	if hi > leanMost*margin {
		fmt.Fprintf(&b, `<path class="g-tip" d="M%.1f %gl-7 -4.5v9z"/>`, at(hi)+4, mid)
	}
	if math.Abs(gain) <= leanMost*margin {
		fmt.Fprintf(&b, `<circle class="g-dot" cx="%.1f" cy="%g" r="4"/>`, at(gain), mid)
	}
	b.WriteString("</svg>")
	return template.HTML(b.String())
}
