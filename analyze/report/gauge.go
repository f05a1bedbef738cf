package report

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"limbgauge/analyze/health"
)

// The drawing beside a figure, px.
const (
	gaugeWidth  = 170.0
	gaugeHeight = 26.0
	gaugeEdge   = 8.0
	gaugeMost   = 6.0 // limits shown to the right of zero; what lies beyond is drawn at the edge
)

// gauge draws a value, its interval and the limit on one line from zero: a dot with a bar where it
// was measured, a bar open to one side where it is only bounded, nothing but the limit where it was
// not seen. The band is what the limit allows. It adds nothing to the words beside it, so it is
// hidden from screen readers. It is empty where there is no limit to draw against.
func gauge(m health.Measure) template.HTML {
	if !limited(m) {
		return ""
	}
	return gaugeTo(m, gaugeTop(m))
}

// Gauges draws several sights of one measure, each as gauge does, all on one scale. They are empty
// where none has a limit and none was seen.
func Gauges(ms ...health.Measure) []template.HTML {
	top := 0.0
	for _, m := range ms {
		top = max(top, gaugeTop(m))
	}
	out := make([]template.HTML, len(ms))
	for i, m := range ms {
		if top > 0 {
			out[i] = gaugeTo(m, top)
		}
	}
	return out
}

func limited(m health.Measure) bool { return m.Limit > 0 && !math.IsInf(m.Limit, 0) }

// judged returns the value as a limit looks at it; ok is false where it was not seen.
func judged(m health.Measure) (v float64, ok bool) {
	v = m.Value
	if d, _ := health.DefinitionOf(m.Name); !d.More {
		v = math.Abs(v) // deviations are judged by their size
	}
	return v, m.Status != health.NotObservable && drawable(v)
}

// gaugeTop is the right end of the scale that one measure needs, 0 where there is nothing to draw.
func gaugeTop(m health.Measure) float64 {
	v, seen := judged(m)
	need := (v + known(m.Uncertainty)) * 1.1
	switch {
	case !limited(m) && !seen:
		return 0
	case !limited(m):
		return max(need, 0)
	case !seen:
		return m.Limit * 1.6
	}
	return min(max(m.Limit*1.6, need), m.Limit*gaugeMost)
}

func gaugeTo(m health.Measure, top float64) template.HTML {
	d, _ := health.DefinitionOf(m.Name)
	v, seen := judged(m)
	u := known(m.Uncertainty)
	at := func(x float64) float64 {
		return gaugeEdge + (gaugeWidth-2*gaugeEdge)*min(max(x/top, 0), 1)
	}
	const mid = gaugeHeight / 2
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="gauge" viewBox="0 0 %g %g" aria-hidden="true" focusable="false">`, gaugeWidth, gaugeHeight)
	if limited(m) {
		from, to := at(0), at(m.Limit)
		if d.More {
			from, to = to, at(top)
		}
		fmt.Fprintf(&b, `<rect class="g-allowed" x="%.1f" y="%g" width="%.1f" height="8"/>`, from, mid-4, to-from)
	}
	fmt.Fprintf(&b, `<path class="g-axis" d="M%.1f %gH%.1f"/>`, at(0), mid, at(top))
	if seen {
		lo, hi := at(v-u), at(v+u)
		switch {
		case m.Status == health.BoundLow:
			hi = at(top)
			fmt.Fprintf(&b, `<path class="g-tip" d="M%.1f %gl-7 -4.5v9z"/>`, hi+4, mid)
			fmt.Fprintf(&b, `<path class="g-bar" d="M%.1f %gv10M%.1f %gH%.1f"/>`, at(v), mid-5, at(v), mid, hi-2)
		case m.Status == health.BoundHigh:
			lo = at(0)
			fmt.Fprintf(&b, `<path class="g-tip" d="M%.1f %gl7 -4.5v9z"/>`, lo-4, mid)
			fmt.Fprintf(&b, `<path class="g-bar" d="M%.1f %gv10M%.1f %gH%.1f"/>`, at(v), mid-5, lo+2, mid, at(v))
		case v > top:
			fmt.Fprintf(&b, `<path class="g-tip" d="M%.1f %gl-7 -4.5v9zm-8 0l-7 -4.5v9z"/>`, at(top)+4, mid)
		default:
			fmt.Fprintf(&b, `<path class="g-bar" d="M%.1f %gH%.1f"/>`, lo, mid, hi)
			fmt.Fprintf(&b, `<circle class="g-dot" cx="%.1f" cy="%g" r="4"/>`, at(v), mid)
		}
	}
	if limited(m) {
		fmt.Fprintf(&b, `<path class="g-limit" d="M%.1f 2v%g"/>`, at(m.Limit), gaugeHeight-4)
	}
	b.WriteString("</svg>")
	return template.HTML(b.String())
}
