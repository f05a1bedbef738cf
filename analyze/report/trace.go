package report

import (
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// trace draws one line of a curve. It is thinned on the way to what the drawing can show: a line
// that runs steadily to the right keeps first, smallest, greatest and last value of every pixel column; any other
// line loses the points that lie on the one before; of marks that cover each other one is kept.
type trace struct {
	name   string // of the line; "" for what has no values of its own
	x, y   []float64
	points bool
	look   role
}

const (
	mostPoints = 4000 // of one line in one drawing, after thinning
	mostMarks  = 1200
	fewMarks   = 40 // a line of so few points shows them
)

// Plot implements plot.Plotter.
func (t trace) Plot(c draw.Canvas, p *plot.Plot) {
	if to := ours(c); to != nil && t.name != "" {
		to.begin(t.name)
		defer to.end()
	}
	fx, fy := p.Transforms(&c)
	var pieces [][]vg.Point
	n := 0
	open := false
	for i := range t.x {
		if !drawable(t.x[i]) || !drawable(t.y[i]) {
			open = false
			continue
		}
		if !open {
			pieces = append(pieces, nil)
			open = true
		}
		k := len(pieces) - 1
		pieces[k] = append(pieces[k], vg.Point{X: fx(t.x[i]), Y: fy(t.y[i])})
		n++
	}
	if !t.points {
		if n > mostPoints { // a noisy line fills its own width; thinner shows more of it
			t.look.width = 1
		}
		for _, pts := range pieces {
			c.StrokeLines(draw.LineStyle{Color: t.look.ink, Width: t.look.width, Dashes: t.look.dash}, thinLine(pts))
		}
	}
	if t.points || (n <= fewMarks && t.look.marksLine()) {
		t.marks(c, pieces)
	}
}

// marksLine says whether a short line of this look shows its points. Fitted lines and limits have
// none of their own.
func (r role) marksLine() bool { return r.ink != inkModel && r.ink != inkLimit && r.ink != inkCommand }

func (t trace) marks(c draw.Canvas, pieces [][]vg.Point) {
	kept := thinMarks(pieces)
	size := vg.Length(markSize)
	if len(kept) > fewMarks*3 {
		size = denseSize
	}
	var path vg.Path
	for _, pt := range kept {
		t.look.shape.at(&path, pt, size)
	}
	c.SetColor(t.look.ink)
	c.Fill(path)
}

// thinLine returns a line that looks the same with fewer points.
func thinLine(pts []vg.Point) []vg.Point {
	if len(pts) <= mostPoints/8 {
		return pts
	}
	if runsRight(pts) {
		return extremes(pts)
	}
	for near := vg.Length(0.4); ; near *= 2 {
		out := make([]vg.Point, 0, mostPoints)
		for i, p := range pts {
			if i > 0 && i < len(pts)-1 && closer(p, out[len(out)-1], near) {
				continue
			}
			out = append(out, p)
		}
		if len(out) <= mostPoints {
			return out
		}
	}
}

func closer(a, b vg.Point, near vg.Length) bool {
	return math.Abs(float64(a.X-b.X)) < float64(near) && math.Abs(float64(a.Y-b.Y)) < float64(near)
}

func runsRight(pts []vg.Point) bool {
	for i := 1; i < len(pts); i++ {
		if pts[i].X < pts[i-1].X {
			return false
		}
	}
	return true
}

// extremes keeps of each pixel column the first, smallest, greatest and last point, in their order.
func extremes(pts []vg.Point) []vg.Point {
	var out []vg.Point
	for i := 0; i < len(pts); {
		column := math.Floor(float64(pts[i].X))
		j, lo, hi := i, i, i
		for ; j < len(pts) && math.Floor(float64(pts[j].X)) == column; j++ {
			if pts[j].Y < pts[lo].Y {
				lo = j
			}
			if pts[j].Y > pts[hi].Y {
				hi = j
			}
		}
		last := -1
		for _, k := range []int{i, min(lo, hi), max(lo, hi), j - 1} {
			if k != last {
				out = append(out, pts[k])
				last = k
			}
		}
		i = j
	}
	return out
}

// thinMarks keeps one mark per cell of a grid, the cells as small as the number of marks allows.
// Every cell that had a mark still has one, so outliers stay.
func thinMarks(pieces [][]vg.Point) []vg.Point {
	for cell := 1.0; ; cell *= 1.5 {
		if out, ok := onePerCell(pieces, cell); ok {
			return out
		}
	}
}

// onePerCell gives up, ok false, as soon as there are too many.
func onePerCell(pieces [][]vg.Point, cell float64) (out []vg.Point, ok bool) {
	taken := map[[2]int]bool{}
	for _, pts := range pieces {
		for _, p := range pts {
			at := [2]int{int(math.Floor(float64(p.X) / cell)), int(math.Floor(float64(p.Y) / cell))}
			if taken[at] {
				continue
			}
			if len(out) == mostMarks {
				return nil, false
			}
			taken[at] = true
			out = append(out, p)
		}
	}
	return out, true
}

// grid draws the lines behind the data, the zero lines a little stronger.
type grid struct{ x, y bool }

// Plot implements plot.Plotter.
func (g grid) Plot(c draw.Canvas, p *plot.Plot) {
	fx, fy := p.Transforms(&c)
	line := func(v float64, pts ...vg.Point) {
		k := inkGrid
		if v == 0 {
			k = inkAxis
		}
		c.StrokeLines(draw.LineStyle{Color: k, Width: 0.8}, pts)
	}
	if g.x {
		for _, t := range p.X.Tick.Marker.Ticks(p.X.Min, p.X.Max) {
			x := fx(t.Value)
			line(t.Value, vg.Point{X: x, Y: c.Min.Y}, vg.Point{X: x, Y: c.Max.Y})
		}
	}
	if g.y {
		for _, t := range p.Y.Tick.Marker.Ticks(p.Y.Min, p.Y.Max) {
			y := fy(t.Value)
			line(t.Value, vg.Point{X: c.Min.X, Y: y}, vg.Point{X: c.Max.X, Y: y})
		}
	}
}
