package report

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"limbgauge/analyze/health"
)

var viewBox = regexp.MustCompile(`^0 0 \d+(\.\d+)? \d+(\.\d+)?$`)

// checkDrawing parses a drawing alone and fails where a reader could not use it.
func checkDrawing(t *testing.T, svg []byte, err error) *element {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	root := parseXML(t, string(svg))
	if len(root.kids) != 1 || root.kids[0].name != "svg" {
		t.Fatalf("not one svg element: %.80s", svg)
	}
	e := root.kids[0]
	checkClosed(t, root)
	if !viewBox.MatchString(e.attrs["viewBox"]) || e.attrs["role"] != "img" || e.attrs["aria-label"] == "" {
		t.Errorf("viewBox %q, role %q, label %q", e.attrs["viewBox"], e.attrs["role"], e.attrs["aria-label"])
	}
	if len(e.kids) < 2 || e.kids[0].name != "title" || e.kids[0].text() == "" || e.kids[1].name != "desc" || e.kids[1].text() == "" {
		t.Error("no title or no description")
	}
	root.each(func(k *element) {
		for name, v := range k.attrs {
			if name != "aria-label" && (strings.Contains(v, "NaN") || strings.Contains(v, "Inf")) {
				t.Errorf("%s of %s is %.40q", name, k.name, v)
			}
		}
	})
	return e
}

func curveOf(lines ...health.Line) health.Curve {
	return health.Curve{ID: "c", Title: "A curve", XLabel: "time (s)", YLabel: "angle (deg)", Alt: "what it shows", Lines: lines}
}

// noisy is a run of n samples at 500 Hz.
func noisy(n int) health.Line {
	l := health.Line{Name: "joint", Role: health.RoleValue, X: make([]float64, n), Y: make([]float64, n)}
	for i := range n {
		l.X[i] = float64(i) / 500
		l.Y[i] = 30*math.Sin(l.X[i]) + 2*math.Sin(float64(i*i%9973))
	}
	return l
}

// loop is a line that runs forth and back, so that pixel columns do not thin it.
func loop(n int) health.Line {
	l := noisy(n)
	for i := range n {
		l.X[i] = 2*math.Sin(float64(i)/3000) + 0.05*math.Sin(float64(i*i%9973))
	}
	return l
}

func TestDrawingsOfOddCurves(t *testing.T) {
	inf := math.Inf(1)
	with := func(x, y []float64) []health.Line {
		var out []health.Line
		for _, r := range []health.Role{health.RoleUp, health.RoleDown, health.RoleModel, health.RoleLimit, health.RoleCommand, health.RoleValue, "unheard of"} {
			out = append(out, health.Line{Name: string(r), Role: r, X: x, Y: y}, health.Line{Name: string(r), Role: r, Points: true, X: x, Y: y})
		}
		return out
	}
	dense := noisy(42_000)
	for name, lines := range map[string][]health.Line{
		"no line": nil, "no points": with(nil, nil),
		"one point": with([]float64{1}, []float64{2}), "origin": with([]float64{0}, []float64{0}),
		"equal points": with([]float64{3, 3, 3}, []float64{4, 4, 4}), "level": with([]float64{1, 2, 3}, []float64{5, 5, 5}),
		"upright": with([]float64{5, 5, 5}, []float64{1, 2, 3}),
		"gaps":    with([]float64{0, 1, nan, 3, 4}, []float64{nan, 1, 2, inf, -inf}), "nothing known": with([]float64{nan, inf}, []float64{nan, -inf}),
		"far off": with([]float64{0, 1e300, 2}, []float64{-1e300, 1, math.MaxFloat64}), "tiny": with([]float64{0, 5e-324, 1e-300}, []float64{0, 1e-300, 5e-324}),
		"great": with([]float64{1e11, 9e11}, []float64{-9e11, 9e11}), "close": with([]float64{1e9, 1e9 + 1e-7}, []float64{7, 7 + 1e-15}),
		"dense": with(dense.X, dense.Y),
	} {
		t.Run(name, func(t *testing.T) {
			for _, size := range []Size{{}, {1, 1}, {-3, nan}, {1200, 700}} {
				svg, err := SVG(curveOf(lines...), size)
				checkDrawing(t, svg, err)
			}
			d := &Document{Health: health.Health{Joints: []health.Joint{{Joint: "knee", Curves: []health.Curve{curveOf(lines...)}}}}}
			if page := render(t, d); len(page) > mostBytes {
				t.Errorf("the page has %d bytes", len(page))
			} else {
				parsePage(t, page)
			}
		})
	}
}

func TestDrawingSaysWhenEmpty(t *testing.T) {
	svg, err := SVG(curveOf(health.Line{X: []float64{nan}, Y: []float64{1}}), Size{})
	if e := checkDrawing(t, svg, err); !strings.Contains(e.text(), "nothing to draw") {
		t.Error("an empty curve does not say so")
	}
}

// A line that cannot be drawn is told with its curve, and does not cost the page.
func TestUnevenLine(t *testing.T) {
	c := curveOf(health.Line{Name: "torn", X: []float64{1, 2}, Y: []float64{1}})
	if _, err := SVG(c, Size{}); err == nil || !strings.Contains(err.Error(), `"torn"`) {
		t.Errorf("error %v", err)
	}
	page := render(t, &Document{Health: health.Health{Joints: []health.Joint{{Joint: "knee", Curves: []health.Curve{c}}}}})
	if !strings.Contains(parsePage(t, page).text(), "Not drawn: draw curve") {
		t.Error("the page does not say what is not drawn")
	}
}

// Thinning keeps the one sample that stands out.
func TestSpikeSurvives(t *testing.T) {
	l := noisy(42_000)
	for i := range l.Y {
		l.Y[i] = 0
	}
	flat, err := SVG(curveOf(l), Size{})
	checkDrawing(t, flat, err)
	// 50 deg spans all but the padding of a drawing some 310 px high; the line must climb most of it.
	steep := regexp.MustCompile(`l-?[\d.]+[- ]\d{3}`)
	for _, at := range []int{0, 20_011, 20_030, 20_050, 20_070, 20_090, 41_999} { // a pixel is some 110 samples
		for _, height := range []float64{50, -50} {
			l.Y[at] = height
			svg, err := SVG(curveOf(l), Size{})
			found := false
			for _, p := range checkDrawing(t, svg, err).all("path", "s-value") {
				found = found || steep.MatchString(p.attrs["d"])
			}
			if !found {
				t.Errorf("the spike of %g at sample %d is gone", height, at)
			}
			l.Y[at] = 0
		}
	}
}

func TestHistoriesOfOddPoints(t *testing.T) {
	of := func(v, u float64) Point {
		return Point{Run: "0001", Measure: health.Of("play", health.Total, v, u, "")}
	}
	unseen := Point{Run: "0002", Measure: health.Unseen("play", health.Total, "", "why")}
	low := Point{Run: "0003", Measure: health.Bound("play", health.Total, health.BoundLow, 1, nan, "", "")}
	many := make([]Point, 2000)
	for i := range many {
		many[i] = of(float64(i%7), 0.5)
	}
	marks := []Mark{{Before: -5, Label: "early"}, {Before: 0, Label: "first"}, {Before: 1, Label: strings.Repeat("long ", 300)},
		{Before: 1, Service: true}, {Before: 99999, Label: "late"}}
	for name, pts := range map[string][]Point{
		"none": nil, "one": {of(1, 0.1)}, "unseen": {unseen, unseen}, "bounds": {low, low}, "equal": {of(1, 0), of(1, 0)},
		"unknown": {of(nan, nan), of(math.Inf(1), 1)}, "doubt without end": {of(1, math.Inf(1)), of(2, nan)}, "many": many,
	} {
		t.Run(name, func(t *testing.T) {
			for _, limit := range []float64{nan, 0.5, math.Inf(1), 0} {
				svg, err := HistorySVG(History{Joint: "knee", Measure: "play", Path: health.Total, Limit: limit, Points: pts, Marks: marks}, Size{})
				checkDrawing(t, svg, err)
			}
		})
	}
}

// A long run on every path of every joint still makes a page that can be sent by mail.
func TestLongRunsStaySmall(t *testing.T) {
	if page := render(t, longRun()); len(page) > mostBytes {
		t.Errorf("the page has %d bytes, want at most %d", len(page), mostBytes)
	}
}

// longRun has three joints with eight dense curves each, half of them loops.
func longRun() *Document {
	a, b := noisy(42_000), loop(42_000)
	marks := b
	marks.Points = true
	d := fixture(asIs)
	d.Health.Joints = append(d.Health.Joints, d.Health.Joints[0])
	for i := range d.Health.Joints {
		d.Health.Joints[i].Curves = []health.Curve{curveOf(a), curveOf(b), curveOf(a, marks), curveOf(b), curveOf(a), curveOf(b), curveOf(marks), curveOf(a)}
	}
	return d
}

func BenchmarkHTML(b *testing.B) {
	d := longRun()
	for b.Loop() {
		b.SetBytes(int64(len(render(b, d))))
	}
}

func BenchmarkSVG42k(b *testing.B) {
	c := curveOf(noisy(42_000))
	for b.Loop() {
		if _, err := SVG(c, Size{}); err != nil {
			b.Fatal(err)
		}
	}
}
