package report

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg"

	"limbgauge/analyze/health"
)

// corners reads the path data the canvas writes, m, l and z with relative steps, back into absolute
// points by the rules of SVG 1.1, 8.3.
func corners(t *testing.T, d string) [][2]float64 {
	t.Helper()
	var out [][2]float64
	var x, y float64
	var start [2]float64
	for d != "" {
		op := d[0]
		d = d[1:]
		if op == 'z' {
			x, y = start[0], start[1]
			continue
		}
		var v [2]float64
		for i := range v {
			d = strings.TrimPrefix(d, " ")
			n := 1
			for n < len(d) && strings.IndexByte("0123456789.", d[n]) >= 0 {
				n++
			}
			f, err := strconv.ParseFloat(d[:n], 64)
			if err != nil {
				t.Fatalf("path data at %.20q: %v", d, err)
			}
			v[i], d = f, d[n:]
		}
		x, y = x+v[0], y+v[1]
		if op == 'm' {
			start = [2]float64{x, y}
		}
		out = append(out, [2]float64{x, y})
	}
	return out
}

// Values land where the axes say: along a line, distances in the drawing are in the ratio of the
// distances between the values, to the tenth of a pixel that is written.
func TestPointsLandInProportion(t *testing.T) {
	l := health.Line{Role: health.RoleModel, X: []float64{-2, 0, 1, 6}, Y: []float64{3, -1, 0.5, 11}}
	svg, err := SVG(curveOf(l), Size{640, 400})
	p := checkDrawing(t, svg, err).all("path", "s-model")
	if len(p) != 1 {
		t.Fatalf("%d paths, want 1", len(p))
	}
	at := corners(t, p[0].attrs["d"])
	if len(at) != len(l.X) {
		t.Fatalf("%d points, want %d", len(at), len(l.X))
	}
	sx, sy := (at[3][0]-at[0][0])/8, (at[3][1]-at[0][1])/8
	if sx < 50 || sy > -15 {
		t.Errorf("%.1f px to the right and %.1f px down for one unit: the drawing is not filled or upside down", sx, sy)
	}
	for i := range at {
		if x := at[0][0] + sx*(l.X[i]+2); math.Abs(x-at[i][0]) > 0.11 {
			t.Errorf("point %d at x %.1f, want %.2f", i, at[i][0], x)
		}
		if y := at[0][1] + sy*(l.Y[i]-3); math.Abs(y-at[i][1]) > 0.11 {
			t.Errorf("point %d at y %.1f, want %.2f", i, at[i][1], y)
		}
	}
}

// Steps too small for the written tenth must not add up to a drift.
func TestRoundingDoesNotAddUp(t *testing.T) {
	c := newCanvas(1000, 100)
	var p vg.Path
	p.Move(vg.Point{X: 3, Y: 50})
	for i := 1; i <= 2000; i++ {
		p.Line(vg.Point{X: 3 + vg.Length(i)*0.146, Y: 50})
	}
	c.Stroke(p)
	svg := string(c.close("t", "d"))
	root := parseXML(t, svg)
	at := corners(t, root.all("path", "")[0].attrs["d"])
	if got, want := at[len(at)-1][0], 3+2000*0.146; math.Abs(got-want) > 0.051 {
		t.Errorf("the line ends at %.2f, want %.2f", got, want)
	}
}

// Of each column the thinned line has the smallest and the greatest value, found here the slow way,
// and nothing that was not there.
func TestExtremesOfEveryColumn(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	pts := make([]vg.Point, 20_000)
	for i := range pts {
		pts[i] = vg.Point{X: vg.Length(float64(i) * 300 / float64(len(pts))), Y: vg.Length(r.NormFloat64())}
	}
	span := func(pts []vg.Point) map[int][2]vg.Length {
		m := map[int][2]vg.Length{}
		for _, p := range pts {
			k := int(p.X)
			v, ok := m[k]
			if !ok {
				v = [2]vg.Length{p.Y, p.Y}
			}
			m[k] = [2]vg.Length{min(v[0], p.Y), max(v[1], p.Y)}
		}
		return m
	}
	thin := thinLine(pts)
	if len(thin) > 4*300 {
		t.Errorf("%d points are left of %d columns", len(thin), 300)
	}
	want, got := span(pts), span(thin)
	for k, w := range want {
		if got[k] != w {
			t.Errorf("column %d spans %v, want %v", k, got[k], w)
		}
	}
	known := map[vg.Point]bool{}
	for _, p := range pts {
		known[p] = true
	}
	for i, p := range thin {
		if !known[p] || i > 0 && p.X < thin[i-1].X {
			t.Fatalf("point %d, %v, is new or out of order", i, p)
		}
	}
}

// Marks are thinned only where others cover them: every mark left out has one within two cells.
func TestEveryMarkIsCovered(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	pts := make([]vg.Point, 5000)
	for i := range pts {
		pts[i] = vg.Point{X: vg.Length(r.Float64() * 300), Y: vg.Length(r.Float64() * 60)}
	}
	pts = append(pts, vg.Point{X: 150, Y: 220}) // one that lies apart
	kept := thinMarks([][]vg.Point{pts})
	if len(kept) > mostMarks {
		t.Errorf("%d marks are left", len(kept))
	}
	for _, p := range pts {
		near := math.Inf(1)
		for _, k := range kept {
			near = min(near, math.Hypot(float64(p.X-k.X), float64(p.Y-k.Y)))
		}
		if near > 7 { // the diagonal of the cell that 1200 marks allow on 300 by 60 px
			t.Fatalf("the mark at %v is %.1f px from any left", p, near)
		}
	}
}

// Ticks are the round numbers within the range, worked by hand.
func TestTicks(t *testing.T) {
	for _, c := range []struct {
		lo, hi float64
		most   int
		want   string
	}{
		{-1.7, 1.7, 7, "−1.5 −1.0 −0.5 0.0 0.5 1.0 1.5"},
		{0, 10, 5, "0 2 4 6 8 10"},
		{0.21, 0.29, 4, "0.22 0.24 0.26 0.28"},
		{-75, 75, 4, "−50 0 50"},
		{0, 168, 4, "0 50 100 150"},
	} {
		var got []string
		for _, k := range (ticks{c.most}).Ticks(c.lo, c.hi) {
			got = append(got, k.Label)
		}
		if s := strings.Join(got, " "); s != c.want {
			t.Errorf("%g..%g: %s, want %s", c.lo, c.hi, s, c.want)
		}
	}
}

// The drawing beside a figure agrees with the verdict: the value's bar lies within the allowed band
// exactly where the measure passes, and apart from it where it fails.
func TestGaugeAgreesWithVerdict(t *testing.T) {
	for _, m := range []health.Measure{
		health.Of("play", health.Total, 0.4, 0.05, ""), health.Of("play", health.Total, 0.48, 0.05, ""), health.Of("play", health.Total, 0.62, 0.05, ""),
		health.Of("creep", health.Total, -0.4, 0.05, ""), health.Of("creep", health.Total, -0.7, 0.05, ""),
		health.Of("belt_tension", health.Total, 0.6, 0.05, ""), health.Of("belt_tension", health.Total, 0.3, 0.05, ""),
	} {
		m = health.Judge(m, 0.5)
		g := parseXML(t, string(gauge(m)))
		band := g.all("rect", "g-allowed")[0]
		x, width := parseFloat(t, band.attrs["x"]), parseFloat(t, band.attrs["width"])
		var lo, hi float64
		d := strings.NewReplacer("M", "", "H", " ").Replace(g.all("path", "g-bar")[0].attrs["d"])
		f := strings.Fields(d)
		lo, hi = parseFloat(t, f[0]), parseFloat(t, f[2])
		got := health.Unproven
		switch {
		case lo >= x-0.1 && hi <= x+width+0.1:
			got = health.Pass
		case lo > x+width || hi < x:
			got = health.Fail
		}
		if got != m.Verdict {
			t.Errorf("%s %g ± %g: drawn as %q, judged %q", m.Name, m.Value, m.Uncertainty, got, m.Verdict)
		}
	}
	for _, s := range []health.Status{health.BoundLow, health.BoundHigh} {
		g := parseXML(t, string(gauge(health.Judge(health.Bound("belt_tension", health.Total, s, 20, 1, "", ""), 25))))
		if len(g.all("circle", "")) != 0 || len(g.all("path", "g-tip")) != 1 {
			t.Errorf("%s is not drawn as a bound", s)
		}
	}
}

func parseFloat(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
