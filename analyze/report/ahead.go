package report

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"limbgauge/analyze/health"
)

// framed is the mark around a run at which a warning was raised, ahead the look of what lies ahead.
var (
	framed = role{inkLimit, 1.6, nil, square}
	ahead  = role{inkLimit, 1.2, []vg.Length{2, 3}, cross}
)

// frameSize is half the side of the mark around a run, px.
const frameSize = 9

// fan returns the last measured point that counts, from which the fan to the limit opens; ok is false where there
// is none to draw.
func (h History) fan() (last int, ok bool) {
	if h.Ahead == nil || !drawable(h.Limit) || math.IsNaN(h.Ahead.Lo) || h.Ahead.Lo < 0 {
		return 0, false
	}
	for i := len(h.Points) - 1; i >= 0; i-- {
		if m := h.Points[i].Measure; !h.Points[i].Out && m.Status == health.Measured && drawable(m.Value) {
			return i, true
		}
	}
	return 0, false
}

// room is how many runs of room the fan needs to the right: as far as the limit may lie, but no more
// than there are runs.
func (h History) room() float64 {
	if _, ok := h.fan(); !ok {
		return 0
	}
	far := h.Ahead.Hi
	if math.IsInf(far, 0) || math.IsNaN(far) {
		far = 2 * h.Ahead.Runs
	}
	return math.Min(far+0.4, float64(len(h.Points)))
}

// words say when the limit is reached.
func (a Ahead) words() string {
	lo := math.Max(0, math.Floor(a.Lo))
	if math.IsInf(a.Hi, 0) || math.IsNaN(a.Hi) {
		return fmt.Sprintf("in %.0f runs at the earliest, with no upper end", lo)
	}
	return fmt.Sprintf("in %.0f to %.0f runs", lo, math.Ceil(a.Hi))
}

// fan draws what lies ahead of a History.
type fan History

// Plot implements plot.Plotter.
func (f fan) Plot(c draw.Canvas, p *plot.Plot) {
	h := History(f)
	fx, fy := p.Transforms(&c)
	for i, pt := range h.Points {
		if slices.Contains(h.Warned, pt.Run) && drawable(pt.Measure.Value) {
			var around vg.Path
			framed.shape.at(&around, vg.Point{X: fx(float64(i)), Y: fy(pt.Measure.Value)}, frameSize)
			c.SetColor(framed.ink)
			c.SetLineWidth(framed.width)
			c.SetLineDash(nil, 0)
			c.Stroke(around)
		}
	}
	last, ok := h.fan()
	if !ok {
		return
	}
	sty := draw.LineStyle{Color: ahead.ink, Width: ahead.width, Dashes: ahead.dash}
	from, value := float64(last), h.Points[last].Measure.Value
	end := float64(len(h.Points) - 1)
	for _, runs := range []float64{h.Ahead.Lo, h.Ahead.Hi} {
		x, y := end+runs, h.Limit
		if math.IsInf(runs, 0) || math.IsNaN(runs) { // no upper end: level
			x, y = p.X.Max, value
		}
		if x > p.X.Max { // cut where the drawing ends
			y = value + (y-value)*(p.X.Max-from)/(x-from)
			x = p.X.Max
		}
		c.StrokeLine2(sty, fx(from), fy(value), fx(x), fy(y))
	}
}
