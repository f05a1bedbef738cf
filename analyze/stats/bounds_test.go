package stats

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"limbgauge/analyze/internal/ref"
)

// openSpan is a span in JSON, where null stands for an open end.
type openSpan [2]*float64

func spansOf(list []openSpan) (out []Span) {
	for _, s := range list {
		v := Span{math.Inf(-1), math.Inf(1)}
		if s[0] != nil {
			v.Lo = *s[0]
		}
		if s[1] != nil {
			v.Hi = *s[1]
		}
		out = append(out, v)
	}
	return out
}

func TestBoundsAgainstSciPy(t *testing.T) {
	var oracle struct {
		Kendall []struct {
			Spans []openSpan
			S     int
			Var   float64
		}
		TheilSen []struct {
			X     []float64
			Spans []openSpan
			Slope float64
		} `json:"theil_sen"`
		Lines []struct {
			X                                          []float64
			Spans                                      []openSpan
			Level, Intercept, Slope, S, Loglik, At, Lo float64
			Hi                                         float64
			Tilted                                     bool
		}
		Weighted []struct {
			X, Y, U                            []float64
			Level, Common, Intercept, Slope, S float64
			USlope                             float64 `json:"u_slope"`
			At, Lo, Hi                         float64
			MeanLo                             float64 `json:"mean_lo"`
			MeanHi                             float64 `json:"mean_hi"`
		}
	}
	ref.JSON(t, "oracle/bounds.json", &oracle)
	if len(oracle.Kendall) != 5 || len(oracle.TheilSen) != 7 || len(oracle.Lines) != 6 || len(oracle.Weighted) != 3 {
		t.Fatalf("%d tests, %d slopes, %d lines, %d weighted lines", len(oracle.Kendall), len(oracle.TheilSen), len(oracle.Lines), len(oracle.Weighted))
	}
	const from = "bounds.py"
	for _, c := range oracle.Kendall {
		k, err := MannKendallSpans(spansOf(c.Spans))
		if err != nil || k.S != c.S {
			t.Errorf("S %d, %v; want %d", k.S, err, c.S)
		}
		closeTo(t, "variance over all orders", k.Var, c.Var, 1e-12, from)
	}
	for _, c := range oracle.TheilSen {
		s, err := TheilSenSpans(c.X, spansOf(c.Spans))
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, "slope", s.Slope, c.Slope, 1e-9, from)
		if !(s.Lo <= s.Slope && s.Slope <= s.Hi) {
			t.Errorf("slope %g outside %g..%g", s.Slope, s.Lo, s.Hi)
		}
	}
	for _, c := range oracle.Lines {
		l, err := FitCensoredLine(c.X, spansOf(c.Spans))
		if err != nil {
			t.Fatal(err)
		}
		const tol = 1e-8
		closeTo(t, "log likelihood", l.LogL, c.Loglik, 1e-9, from)
		closeTo(t, "slope", l.Slope, c.Slope, tol, from)
		ref.Near(t, "intercept", l.Intercept, c.Intercept, tol, "testdata/oracle/bounds.py")
		closeTo(t, "s", l.S, c.S, tol, from)
		x := l.CrossAt(c.Level, 0)
		if l.Tilted() != c.Tilted || c.Tilted != (x.Unseen == "") {
			t.Errorf("tilted %v, %q; want %v", l.Tilted(), x.Unseen, c.Tilted)
		}
		if c.Tilted {
			closeTo(t, "crossing", x.X, c.At, tol, from)
			closeTo(t, "profile, lower", x.MeanLo, c.Lo, tol, from)
			closeTo(t, "profile, upper", x.MeanHi, c.Hi, tol, from)
		}
	}
	for _, c := range oracle.Weighted {
		w := make([]float64, len(c.U))
		for i, u := range c.U {
			w[i] = 1 / (u * u)
		}
		l, err := FitWeightedLine(c.X, c.Y, w)
		if err != nil {
			t.Fatal(err)
		}
		const tol = 1e-9
		closeTo(t, "intercept", l.Intercept.Value, c.Intercept, tol, from)
		closeTo(t, "slope", l.Slope.Value, c.Slope, tol, from)
		closeTo(t, "u(slope)", l.Slope.U, c.USlope, tol, from)
		closeTo(t, "s", l.S, c.S, tol, from)
		x := l.CrossWithin(c.Level, c.Common)
		for _, v := range []struct{ got, want float64 }{{x.X, c.At}, {x.Lo, c.Lo}, {x.Hi, c.Hi}, {x.MeanLo, c.MeanLo}, {x.MeanHi, c.MeanHi}} {
			closeTo(t, "crossing", v.got, v.want, 1e-8, from)
		}
	}
}

// Without bounds everything is what it is without: the test of Mann and Kendall, the median of slopes, and
// the least-squares line, whose profile interval is then that of Student's law.
func TestNoBoundsChangeNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(5, 15).Draw(t, "n")
		x, y, spans := index(n), make([]float64, n), make([]Span, n)
		for i := range y {
			y[i] = -0.5*x[i] + rapid.Float64Range(-3, 3).Draw(t, "y")
			if rapid.IntRange(0, 3).Draw(t, "round") == 0 {
				y[i] = math.Round(y[i])
			}
			spans[i] = Reading(y[i])
		}
		a, errA := MannKendall(y)
		b, errB := MannKendallSpans(spans)
		if errA != nil || errB != nil || a.S != b.S || math.Abs(a.Var-b.Var) > 1e-9 {
			t.Fatalf("%+v, with spans %+v", a, b)
		}
		s, _ := TheilSen(x, y, Interpolate)
		c, err := TheilSenSpans(x, spans)
		if err != nil || math.Abs(s.Slope-c.Slope) > 1e-9 {
			t.Fatalf("slope %g, with spans %g (%v)", s.Slope, c.Slope, err)
		}
		l, _ := FitLine(x, y)
		m, err := FitCensoredLine(x, spans)
		if errors.Is(err, ErrSingular) {
			return
		}
		if err != nil || math.Abs(l.Slope.Value-m.Slope) > 1e-6 {
			t.Fatalf("line %g, with spans %g (%v)", l.Slope.Value, m.Slope, err)
		}
		p, q := l.CrossAt(-20), m.CrossAt(-20, 0)
		if (p.Unseen == "") != (q.Unseen == "") {
			if ratio := math.Abs(l.Slope.Value) / l.Slope.Expanded(); math.Abs(ratio-1) > 1e-3 {
				t.Fatalf("crossing %+v, with spans %+v", p, q)
			}
			return
		}
		if p.Unseen != "" || p.MeanHi-p.MeanLo > 500 { // an end that lies near nowhere
			return
		}
		if math.Abs(p.MeanLo-q.MeanLo) > 1e-3*(1+math.Abs(p.MeanLo)) || math.Abs(p.MeanHi-q.MeanHi) > 1e-3*(1+math.Abs(p.MeanHi)) {
			t.Fatalf("mean line crosses within %g..%g, by the profile %g..%g", p.MeanLo, p.MeanHi, q.MeanLo, q.MeanHi)
		}
	})
}

// Bounds that only say what is so anyway change nothing; bounds alone give no line.
func TestBoundsThatSayNothing(t *testing.T) {
	x := []float64{1, 2, 3, 4, 5, 6, 7, 8}
	y := []Span{Reading(40.2), Reading(38.3), Reading(37.1), Reading(35.4), Reading(34.2), Reading(32.4), AtLeast(-1000), AtMost(1000)}
	a, err := FitCensoredLine(x, y)
	b, _ := FitCensoredLine(x[:6], y[:6])
	if err != nil || math.Abs(a.Slope-b.Slope) > 1e-9 || math.Abs(a.LogL-b.LogL) > 1e-9 {
		t.Errorf("%+v, without the bounds %+v, %v", a, b, err)
	}
	if _, err := FitCensoredLine([]float64{1, 2, 3, 4}, []Span{AtLeast(5), AtLeast(5), Reading(4), Reading(3)}); !errors.Is(err, ErrTooFew) {
		t.Errorf("a line through two readings and two bounds: %v", err)
	}
	if _, err := FitCensoredLine([]float64{1, 2, 3}, []Span{Reading(3), Reading(2), Reading(1)}); !errors.Is(err, ErrSingular) {
		t.Errorf("readings on one line: %v", err)
	}
	s, err := TheilSenSpans([]float64{1, 2, 3}, []Span{AtLeast(5), AtLeast(5), AtLeast(6)})
	if err == nil {
		t.Errorf("bounds alone gave a slope: %+v", s)
	}
	// A bound that all later readings lie below proves the fall, however much it was.
	k, err := MannKendallSpans([]Span{AtLeast(50), AtLeast(50), AtLeast(50), Reading(46), Reading(45), Reading(43), Reading(41)})
	if err != nil || k.S != -18 || k.P > 0.02 {
		t.Errorf("%+v, %v; want S -18: 12 pairs with a bound and 6 without", k, err)
	}
}

// The count by ranks is the count of all pairs.
func TestConcordanceCountsPairs(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	for range 200 {
		n := 1 + rng.IntN(40)
		lo, hi := make([]float64, n), make([]float64, n)
		for i := range lo {
			lo[i] = float64(rng.IntN(12))
			switch rng.IntN(4) {
			case 0:
				hi[i] = math.Inf(1)
			case 1:
				lo[i], hi[i] = math.Inf(-1), lo[i]
			case 2:
				hi[i] = lo[i] + float64(rng.IntN(4))
			default:
				hi[i] = lo[i]
			}
		}
		want := 0
		for i := range lo {
			for j := i + 1; j < n; j++ {
				if lo[j] > hi[i] {
					want++
				}
				if hi[j] < lo[i] {
					want--
				}
			}
		}
		if got := concordance(lo, hi, Sorted(append(slices.Clone(lo), hi...))); got != want {
			t.Fatalf("%v %v: %d, want %d", lo, hi, got, want)
		}
	}
}
