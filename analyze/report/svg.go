package report

import (
	"fmt"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"limbgauge/analyze/health"
)

// Size is the size of a drawing in CSS pixels at scale 1. Text keeps its size whatever the drawing's
// is. The zero Size is that of a report's plots, which a narrow phone still shows at nearly scale 1.
type Size struct{ Width, Height float64 }

var plotSize = Size{390, 300}

func (s Size) orDefault() Size {
	if s.Width <= 0 || s.Height <= 0 {
		return plotSize
	}
	return Size{max(s.Width, 200), max(s.Height, 140)}
}

// SVG draws a curve as one svg element, to be put into a page or read alone. Values that are NaN,
// infinite or beyond 1e12 make gaps; a curve without any value says so. Colours follow the page's
// scheme where CSS is in it. The only error is a line whose X and Y differ in length.
func SVG(curve health.Curve, size Size) ([]byte, error) {
	size = size.orDefault()
	p := newPlot(clean(curve.XLabel), size)
	x, y := noSpan(), noSpan()
	var keys []key
	for i, l := range curve.Lines {
		if len(l.X) != len(l.Y) {
			return nil, fmt.Errorf("draw curve %q: line %d (%q) has %d x and %d y", curve.ID, i+1, l.Name, len(l.X), len(l.Y))
		}
		for k := range l.X {
			if drawable(l.X[k]) && drawable(l.Y[k]) {
				x.add(l.X[k])
				y.add(l.Y[k])
			}
		}
	}
	empty := x.empty()
	x, y = x.padded(0.02), y.padded(0.06)
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = x.lo, x.hi, y.lo, y.hi
	p.X.Tick.Marker = ticks{int(size.Width / 70)}
	p.Y.Tick.Marker = ticks{int(size.Height / 36)}
	p.Add(grid{x: true, y: true})
	for _, l := range curve.Lines {
		k := keyOf(&keys, l)
		p.Add(trace{name: k.name, x: l.X, y: l.Y, points: l.Points, look: k.look})
	}
	if empty {
		p.Add(notice("nothing to draw"))
	}
	if len(keys) < 2 {
		keys = nil // one line is named by the axis
	}
	c := newCanvas(size.Width, size.Height)
	dc := draw.New(c)
	head := header(dc, clean(curve.YLabel), keys)
	inner := draw.Crop(dc, 0, 0, 0, -head)
	p.Draw(inner)
	c.measured(p, p.DataCanvas(inner), clean(curve.XLabel), clean(curve.YLabel))
	return c.close(clean(curve.Title), Sentence(curve.Alt)), nil
}

// key is one entry of a legend.
type key struct {
	name   string
	role   health.Role
	points bool
	marks  bool // of a line: its points are shown
	look   role
	hollow bool // of points: drawn as what does not count
}

// keyOf returns the entry of a line, adding it to the legend where its name is new.
func keyOf(keys *[]key, l health.Line) key {
	nth := 0
	for _, k := range *keys {
		if k.name == clean(l.Name) && k.role == l.Role && k.points == l.Points {
			return k
		}
		if k.role == l.Role && k.points == l.Points {
			nth++
		}
	}
	look := roleOf(l.Role, nth)
	k := key{clean(l.Name), l.Role, l.Points, len(l.X) <= fewMarks && look.marksLine(), look, false}
	*keys = append(*keys, k)
	return k
}

const (
	lineHeight = 18
	swatch     = 26 // px, with the gap behind it
	keyGap     = 14
	mostKeys   = 8
)

// header writes the name of the upper axis and the legend above a plot, row by row, and returns the
// height they take.
func header(c draw.Canvas, ylabel string, keys []key) vg.Length {
	row := c.Max.Y
	if ylabel != "" {
		sty := letters(labelSize, inkQuiet, text.XLeft, text.YTop)
		writeAt(c, sty, c.Min.X, row, fit(sty, ylabel, c.Max.X-c.Min.X))
		row -= lineHeight
	}
	sty := letters(labelSize, inkText, text.XLeft, text.YTop)
	left := c.Min.X
	for i, k := range keys {
		name := k.name
		if i == mostKeys {
			name = fmt.Sprintf("and %d more", len(keys)-mostKeys)
			writeAt(c, sty, c.Min.X, row-sign(left > c.Min.X)*lineHeight, name)
			left = c.Max.X
			break
		}
		name = fit(sty, name, c.Max.X-c.Min.X-swatch)
		wide := swatch + sty.Width(name) + keyGap
		if left > c.Min.X && left+wide-keyGap > c.Max.X {
			left, row = c.Min.X, row-lineHeight
		}
		k.draw(c, vg.Point{X: left, Y: row - lineHeight/2 + 1})
		writeAt(c, sty, left+swatch, row, name)
		left += wide
	}
	if left > c.Min.X {
		row -= lineHeight
	}
	return c.Max.Y - row + 8
}

func sign(yes bool) vg.Length {
	if yes {
		return 1
	}
	return 0
}

// writeAt writes text whose row begins at top.
func writeAt(c draw.Canvas, sty text.Style, x, top vg.Length, s string) {
	c.FillText(sty, vg.Point{X: x, Y: top + sty.FontExtents().Descent}, s)
}

func (k key) draw(c draw.Canvas, at vg.Point) {
	if !k.points {
		c.StrokeLine2(draw.LineStyle{Color: k.look.ink, Width: k.look.width, Dashes: k.look.dash}, at.X, at.Y, at.X+swatch-6, at.Y)
	}
	if k.points || k.marks {
		var p vg.Path
		k.look.shape.at(&p, vg.Point{X: at.X + (swatch-6)/2, Y: at.Y}, markSize+0.6)
		c.SetColor(k.look.ink)
		if k.hollow {
			c.SetLineWidth(1.4)
			c.SetLineDash(nil, 0)
			c.Stroke(p)
			return
		}
		c.Fill(p)
	}
}

// fit shortens a text to a width.
func fit(sty text.Style, s string, width vg.Length) string {
	if sty.Width(s) <= width {
		return s
	}
	r := []rune(s)
	if len(r) > 200 { // nothing longer fits any drawing
		r = r[:200]
	}
	for len(r) > 1 && sty.Width(string(r)+"…") > width {
		r = r[:len(r)-1]
	}
	return string(r) + "…"
}

// notice stands in the middle of a plot that has nothing else to show.
type notice string

// Plot implements plot.Plotter.
func (n notice) Plot(c draw.Canvas, _ *plot.Plot) {
	c.FillText(letters(labelSize, inkQuiet, text.XCenter, text.YCenter), c.Center(), string(n))
}
