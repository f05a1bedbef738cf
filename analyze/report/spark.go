package report

import (
	"fmt"
	"html/template"
	"strings"

	"limbgauge/analyze/health"
)

// The drawing of a course in one line of text, px.
const (
	sparkWidth  = 150.0
	sparkHeight = 30.0
	sparkEdge   = 4.0
)

// Spark draws the course of a measure over runs as small as a word: a dot for each run that saw it, joined
// between boundaries, with the limit as a line. A bound is a short stem to the side it is open to. It adds
// nothing to the words beside it, so it is hidden from screen readers; it is empty where nothing was seen.
// A run that does not count is not in it.
func Spark(h History) template.HTML {
	y := noSpan()
	for _, pt := range h.Points {
		if seenAt(pt) && !pt.Out {
			y.add(pt.Measure.Value)
		}
	}
	if y.empty() {
		return ""
	}
	y.add(h.Limit)
	y = y.padded(0.08)
	fx := func(i int) float64 {
		return sparkEdge + (sparkWidth-2*sparkEdge)*(float64(i)+0.5)/float64(len(h.Points))
	}
	fy := func(v float64) float64 {
		return sparkHeight - sparkEdge - (sparkHeight-2*sparkEdge)*(v-y.lo)/(y.hi-y.lo)
	}
	cut := map[int]bool{}
	for _, m := range h.Marks {
		cut[m.Before] = true
	}
	var line, dots, stems strings.Builder
	pen := "M"
	for i, pt := range h.Points {
		if cut[i] {
			pen = "M"
		}
		if pt.Out {
			continue
		}
		if !seenAt(pt) {
			pen = "M"
			continue
		}
		x, at := fx(i), fy(pt.Measure.Value)
		switch pt.Measure.Status {
		case health.BoundLow, health.BoundHigh:
			to := -6
			if pt.Measure.Status == health.BoundHigh {
				to = 6
			}
			fmt.Fprintf(&stems, "M%.1f %.1fh4m-2 0v%d", x-2, at, to)
			pen = "M"
		default:
			fmt.Fprintf(&line, "%s%.1f %.1f", pen, x, at)
			fmt.Fprintf(&dots, "M%.1f %.1fh0", x, at)
			pen = "L"
		}
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="spark" viewBox="0 0 %g %g" aria-hidden="true" focusable="false">`, sparkWidth, sparkHeight)
	if drawable(h.Limit) {
		fmt.Fprintf(&b, `<path class="sp-limit" d="M0 %.1fH%g"/>`, fy(h.Limit), sparkWidth)
	}
	fmt.Fprintf(&b, `<path class="sp-line" d="%s"/><path class="sp-dots" d="%s"/><path class="sp-stems" d="%s"/></svg>`, line.String(), dots.String(), stems.String())
	return template.HTML(b.String())
}

func seenAt(pt Point) bool {
	return pt.Measure.Status != health.NotObservable && drawable(pt.Measure.Value)
}
