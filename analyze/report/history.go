package report

import (
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"limbgauge/analyze/health"
)

// HistorySVG draws a measure over runs, evenly spaced in the order given: values with their
// uncertainty, bounds as triangles with a stem towards where the value may lie, what was not seen as a
// question mark at the lower edge, the limit, and a labelled vertical where a revision or a service
// begins. Values are joined only between boundaries, since only those runs are of one state. A run
// at which a warning was raised is framed; what lies ahead is a fan from the last value to the limit.
func HistorySVG(h History, size Size) ([]byte, error) {
	size = size.orDefault()
	p := newPlot("run", size)
	y := noSpan()
	counts := slices.ContainsFunc(h.Points, func(pt Point) bool { return !pt.Out && seenAt(pt) })
	for _, pt := range h.Points {
		if pt.Out && counts { // the scale is that of the runs that count
			continue
		}
		m := pt.Measure
		u := known(m.Uncertainty)
		y.add(m.Value - u)
		y.add(m.Value + u)
	}
	empty := y.empty()
	y.add(h.Limit)
	air := 0.1
	for _, pt := range h.Points {
		if pt.Measure.Status == health.BoundLow || pt.Measure.Status == health.BoundHigh {
			air = 0.16 // room for the stem of a bound at the edge
		}
	}
	y = y.padded(air)
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = -0.6, float64(max(len(h.Points), 1))-0.4+h.room(), y.lo, y.hi
	p.X.Tick.Marker = runTicks(h.Points, size.Width-70)
	p.Y.Tick.Marker = ticks{int(size.Height / 36)}
	p.Add(grid{y: true})
	if drawable(h.Limit) {
		p.Add(trace{x: []float64{p.X.Min, p.X.Max}, y: []float64{h.Limit, h.Limit}, look: roleOf(health.RoleLimit, 0)})
	}
	p.Add(course(h), fan(h))
	if empty {
		p.Add(notice("never seen in these runs"))
	}
	c := newCanvas(size.Width, size.Height)
	dc := draw.New(c)
	head := header(dc, historyTitle(h)+axisUnit(h.Measure), historyKeys(h))
	rows := labelRows(h.Marks, dc, p)
	below := draw.Crop(dc, 0, 0, 0, -head-vg.Length(rows)*lineHeight)
	p.Draw(below)
	boundaries(h, dc, p.DataCanvas(below), p, rows)
	c.stops(h, p, p.DataCanvas(below))
	return c.close(historyTitle(h)+" over runs", historyAlt(h)), nil
}

func known(u float64) float64 {
	if drawable(u) && u > 0 {
		return u
	}
	return 0
}

func historyTitle(h History) string {
	t := measureTitle(h.Measure)
	if h.Path != health.NoPath {
		t += ", " + clean(string(h.Path))
	}
	return t
}

func axisUnit(measure string) string {
	if u := unitOf(measure); u != "" {
		return " (" + u + ")"
	}
	return ""
}

func unitOf(measure string) string {
	d, _ := health.DefinitionOf(measure)
	return unit(d.Unit)
}

// boundLook is how a value known from one side only is drawn.
func boundLook(s health.Status) role {
	r := roles[health.RoleValue]
	r.shape = triangleUp
	if s == health.BoundHigh {
		r.shape = triangleDown
	}
	return r
}

func historyKeys(h History) []key {
	has := map[health.Status]bool{}
	for _, pt := range h.Points {
		has[pt.Measure.Status] = has[pt.Measure.Status] || !pt.Out
	}
	var keys []key
	if has[health.Measured] {
		keys = append(keys, key{name: "value and its uncertainty", points: true, look: roles[health.RoleValue]})
	}
	if has[health.BoundLow] {
		keys = append(keys, key{name: "at least", points: true, look: boundLook(health.BoundLow)})
	}
	if has[health.BoundHigh] {
		keys = append(keys, key{name: "at most", points: true, look: boundLook(health.BoundHigh)})
	}
	if slices.ContainsFunc(h.Points, func(pt Point) bool { return pt.Out && seenAt(pt) }) {
		keys = append(keys, key{name: "does not count", points: true, hollow: true, look: roles[health.RoleValue]})
	}
	if drawable(h.Limit) {
		keys = append(keys, key{name: strings.TrimSpace("limit " + plain(h.Limit) + " " + unitOf(h.Measure)), look: roles[health.RoleLimit]})
	}
	if len(h.Warned) > 0 {
		keys = append(keys, key{name: "warned", points: true, look: framed})
	}
	if _, ok := h.fan(); ok {
		keys = append(keys, key{name: "ahead, 95 %", look: ahead})
	}
	return keys
}

// runTicks names as many runs as fit side by side.
func runTicks(pts []Point, width float64) fixed {
	sty := letters(tickSize, inkText, text.XCenter, text.YTop)
	widest := vg.Length(30)
	labels := make([]string, len(pts))
	for i, pt := range pts {
		labels[i] = fit(sty, clean(pt.Run), 90)
		widest = max(widest, sty.Width(labels[i])+10)
	}
	every := max(1, int(math.Ceil(float64(len(pts))*float64(widest)/width)))
	var out fixed
	for i := (len(pts) - 1) % every; i >= 0 && i < len(pts); i += every { // the last run is always named
		out = append(out, plot.Tick{Value: float64(i), Label: labels[i]})
	}
	return out
}

// course draws the values of a History.
type course History

// Plot implements plot.Plotter.
func (h course) Plot(c draw.Canvas, p *plot.Plot) {
	fx, fy := p.Transforms(&c)
	look := roles[health.RoleValue]
	stem := draw.LineStyle{Color: look.ink, Width: 1.4}
	thin := draw.LineStyle{Color: inkCommand, Width: 0.9}
	cut := map[int]bool{}
	for _, m := range h.Marks {
		cut[m.Before] = true
	}
	size := vg.Length(markSize + 0.8)
	var joined []vg.Point
	flush := func() {
		if len(joined) > 1 {
			c.StrokeLines(thin, joined)
		}
		joined = nil
	}
	var marks, open vg.Path
	for i, pt := range h.Points {
		into := &marks
		if pt.Out {
			into = &open
		}
		if cut[i] {
			flush()
		}
		m, x := pt.Measure, fx(float64(i))
		if m.Status == health.NotObservable || !drawable(m.Value) {
			flush()
			c.FillText(letters(tickSize, inkQuiet, text.XCenter, text.YBottom), vg.Point{X: x, Y: c.Min.Y + 3}, "?")
			continue
		}
		at := vg.Point{X: x, Y: fy(m.Value)}
		if pt.Out && at.Y > c.Max.Y { // off the scale: it points to where it lies
			triangleUp.at(&open, vg.Point{X: x, Y: c.Max.Y - size}, size)
			continue
		}
		if pt.Out && at.Y < c.Min.Y {
			triangleDown.at(&open, vg.Point{X: x, Y: c.Min.Y + size}, size)
			continue
		}
		switch m.Status {
		case health.BoundLow, health.BoundHigh:
			flush()
			b := boundLook(m.Status)
			to := at.Y + 14
			if m.Status == health.BoundHigh {
				to = at.Y - 14
			}
			to = min(max(to, c.Min.Y), c.Max.Y)
			c.StrokeLine2(stem, x, at.Y, x, to)
			b.shape.at(into, vg.Point{X: x, Y: to}, size)
			c.StrokeLine2(stem, x-4, at.Y, x+4, at.Y)
		default:
			if !pt.Out {
				joined = append(joined, at)
			}
			if u := known(m.Uncertainty); u > 0 {
				lo, hi := fy(m.Value-u), fy(m.Value+u)
				c.StrokeLines(stem, []vg.Point{{X: x, Y: lo}, {X: x, Y: hi}},
					[]vg.Point{{X: x - 3, Y: lo}, {X: x + 3, Y: lo}}, []vg.Point{{X: x - 3, Y: hi}, {X: x + 3, Y: hi}})
			}
			look.shape.at(into, at, size)
		}
	}
	flush()
	c.SetColor(look.ink)
	c.SetLineWidth(stem.Width)
	c.SetLineDash(nil, 0)
	c.Stroke(open)
	c.Fill(marks)
}

const mostRows = 5 // of boundary labels

func boundaryLabel(m Mark) string {
	sty := letters(tickSize, inkText, text.XLeft, text.YTop)
	return fit(sty, clean(m.Label), 220)
}

// labelRows returns how many rows the labels of the boundaries need.
func labelRows(marks []Mark, c draw.Canvas, p *plot.Plot) int {
	rows := 0
	place(marks, p.DataCanvas(c), p, func(_ Mark, _, _ vg.Length, row int) { rows = max(rows, row+1) })
	return rows
}

func inOrder(marks []Mark) []Mark {
	sorted := slices.Clone(marks)
	slices.SortStableFunc(sorted, func(a, b Mark) int { return a.Before - b.Before })
	return sorted
}

// place finds for every boundary, from left to right, the first row where its label has room, and
// hands over line and label position. Labels beyond the last row are left to the text beside.
func place(marks []Mark, c draw.Canvas, p *plot.Plot, do func(m Mark, line, label vg.Length, row int)) {
	fx, _ := p.Transforms(&c)
	sty := letters(tickSize, inkText, text.XLeft, text.YTop)
	var ends [mostRows]vg.Length
	for _, m := range inOrder(marks) {
		x := fx(min(max(float64(m.Before)-0.5, p.X.Min), p.X.Max))
		wide := sty.Width(boundaryLabel(m))
		from := max(min(x+3, c.Max.X-wide), c.Min.X)
		// A line runs down from its label, so the label goes below every one the line would cross.
		row := mostRows
		for row > 0 && ends[row-1] <= from {
			row--
		}
		if row < mostRows {
			ends[row] = from + wide + 8
		} else {
			row = -1
		}
		do(m, x, from, row)
	}
}

func boundaries(h History, whole, data draw.Canvas, p *plot.Plot, rows int) {
	sty := letters(tickSize, inkText, text.XLeft, text.YTop)
	top := data.Max.Y + vg.Length(rows)*lineHeight
	place(h.Marks, data, p, func(m Mark, x, label vg.Length, row int) {
		line := draw.LineStyle{Color: inkModel, Width: 1.1}
		if m.Service {
			line.Dashes = []vg.Length{3, 3}
		}
		from := data.Max.Y
		if row >= 0 {
			from = top - vg.Length(row+1)*lineHeight
			writeAt(whole, sty, label, from+lineHeight-2, boundaryLabel(m))
		}
		whole.StrokeLine2(line, x, data.Min.Y, x, from)
	})
}

// historyAlt tells course and boundaries in words.
func historyAlt(h History) string {
	return strings.Join(append([]string{courseWords(h)}, boundaryWords(h)...), " ")
}

// boundaryWords tells what begins before which run.
func boundaryWords(h History) []string {
	var out []string
	for _, m := range inOrder(h.Marks) {
		if m.Before >= 0 && m.Before < len(h.Points) {
			out = append(out, "Before run "+clean(h.Points[m.Before].Run)+": "+clean(m.Label)+".")
		}
	}
	return out
}

// courseWords tells the range of what was seen, and the last of it.
func courseWords(h History) string {
	seen := 0
	var lowest, highest, last health.Measure
	for _, pt := range h.Points {
		m := pt.Measure
		if m.Status == health.NotObservable || !drawable(m.Value) {
			continue
		}
		if seen == 0 || m.Value < lowest.Value {
			lowest = m
		}
		if seen == 0 || m.Value > highest.Value {
			highest = m
		}
		last = m
		seen++
	}
	if seen == 0 {
		return plural(len(h.Points), "run", "runs") + ", never seen."
	}
	var more string
	if len(h.Warned) > 0 {
		more += " A change for the worse was first sure at run " + strings.Join(cleanAll(h.Warned), ", then at run ") + "."
	}
	if _, ok := h.fan(); ok {
		more += " If it goes on, the limit is reached " + h.Ahead.words() + "."
	}
	s := "Seen in " + plural(seen, "run", "runs") + " of " + number(float64(len(h.Points)), 0) + ", from " + Amount(lowest) + " to " + Amount(highest) + "; last " + Amount(last) + "."
	if drawable(h.Limit) {
		s += " The limit is " + strings.TrimSpace(plain(h.Limit)+" "+unitOf(h.Measure)) + "."
	}
	return s + more
}

// coursesTitle says over which runs histories go: where later ones are among them, which of them is told of here.
func coursesTitle(hs []History, run string) string {
	for _, h := range hs {
		at := slices.IndexFunc(h.Points, func(p Point) bool { return p.Run == run })
		if at >= 0 && at < len(h.Points)-1 {
			return "Over all runs; this is " + clean(run)
		}
	}
	return "Over the runs so far"
}
