package report

import (
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot"
)

// span is the range of what is drawn on one axis.
type span struct{ lo, hi float64 }

func noSpan() span { return span{math.Inf(1), math.Inf(-1)} }

func (s *span) add(v float64) {
	if drawable(v) {
		s.lo, s.hi = math.Min(s.lo, v), math.Max(s.hi, v)
	}
}

func (s span) empty() bool { return s.lo > s.hi }

// padded gives the span some air and a width of its own where all values are alike.
func (s span) padded(share float64) span {
	if s.empty() {
		return span{0, 1}
	}
	d := (s.hi - s.lo) * share
	if least := math.Max(math.Abs(s.lo), math.Abs(s.hi)) * 1e-6; d < least || d == 0 {
		d = math.Max(math.Abs(s.hi)*0.05, 1e-3)
	}
	return span{s.lo - d, s.hi + d}
}

// farthest is where a value is no longer taken for a measured one.
const farthest = 1e12

func drawable(v float64) bool { return math.Abs(v) < farthest } // false for NaN

// ticks places round numbers (1, 2 or 5 times a power of ten), at most about most of them.
type ticks struct{ most int }

// Ticks implements plot.Ticker.
func (t ticks) Ticks(lo, hi float64) []plot.Tick {
	raw := (hi - lo) / float64(max(t.most, 1))
	if !(raw > 0) {
		return nil
	}
	decade := math.Pow(10, math.Floor(math.Log10(raw)))
	step := 10 * decade
	for _, m := range []float64{1, 2, 5} {
		if m*decade >= raw*(1-1e-9) {
			step = m * decade
			break
		}
	}
	decimals := max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	var out []plot.Tick
	first, last := math.Ceil(lo/step-1e-9), math.Floor(hi/step+1e-9)
	for k := first; k <= last && len(out) < 50; k++ {
		out = append(out, plot.Tick{Value: k * step, Label: tickLabel(k*step, decimals)})
	}
	return out
}

// tickLabel keeps very great and very small numbers short.
func tickLabel(v float64, decimals int) string {
	if v != 0 && (math.Abs(v) >= 1e6 || decimals > 5) {
		return strings.Replace(strconv.FormatFloat(v, 'g', 3, 64), "-", "−", 1)
	}
	return number(v, decimals)
}

// fixed is a set of ticks made beforehand.
type fixed []plot.Tick

// Ticks implements plot.Ticker.
func (f fixed) Ticks(_, _ float64) []plot.Tick { return f }
