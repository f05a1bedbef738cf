package analyze

import (
	"math"

	"limbgauge/analyze/drift"
	"limbgauge/analyze/health"
	"limbgauge/analyze/stats"
)

const (
	// jumpBlockS is how long a reading of a short run is, jumpQuietDeg how far its deflection may move
	// meanwhile: what swings tells nothing of where it stands [common practice].
	jumpBlockS, jumpQuietDeg = 0.1, 1.5
	// jumpLeast is how many readings there must be on each side of a jump, jumpScatterDeg how well they must lie on
	// one line of the load before it and beside that line after it [common practice].
	jumpLeast, jumpScatterDeg = 8, 1.0
	// jumpMost is how many readings a run may have that is short: two minutes, in which most routines rest
	// twice at one place. Every place of a jump is tried on all of them.
	jumpMost = 1200
	// jumpWidest, deg, is what a dead zone may open: where the load turns over it looks like a jump of its
	// width, and a short run does not show the way back [common practice].
	jumpWidest = 8.0
	// jumpMethod says how it was found.
	jumpMethod = "shift between all quiet readings of a run too short for repeated rests, beside what the load gives; whole teeth of the belt only"
)

// jumpOf finds by how many whole teeth a belt jumped in a run that ended before any rest was repeated: the
// quiet readings lie on one line of the load, and from some time on beside it. Only a jump that fits the
// teeth is taken, since nothing but its size tells it from what else moves an offset.
func (c *subject) jumpOf(p *path) (drift.Step, bool) {
	if p.name != health.Transmission || c.j.Belt == nil || c.load == nil || p.far.gear == 0 {
		return drift.Step{}, false
	}
	t, d, load := c.quiet(p)
	if len(d) > jumpMost {
		return drift.Step{}, false
	}
	best, at := besideLine{rss: math.Inf(1)}, -1
	for k := jumpLeast; k+jumpLeast <= len(d); k++ {
		if f := shiftBeside(d, load, k); f.rss < best.rss {
			best, at = f, k
		}
	}
	if at < 0 {
		return drift.Step{}, false
	}
	sd := math.Sqrt(best.rss / float64(len(d)-3))
	st := drift.Step{Size: best.shift, SizeU: math.Hypot(2*best.se*sd, jumpScatterDeg), After: t[at-1], Before: t[at], Share: 1}
	fit := drift.ComparePitch(st.Size, st.SizeU, 360/c.j.Belt.JointTeeth())
	return st, sd <= jumpScatterDeg && fit.Matches && math.Abs(st.Size) > jumpWidest
}

// quiet reads a path where it stands still but for what the load gives: blocks in which it hardly moves, with such
// ones before and after them, as a turn of a swing has not.
func (c *subject) quiet(p *path) (t, defl, load []float64) {
	n := max(4, int(math.Round(jumpBlockS/c.dt)))
	still := make([]float64, c.s.Len()/n) // NaN: not quiet
	for k := range still {
		w := p.raw(k*n, (k+1)*n)
		if still[k] = meanOf(w); stats.Reach(w) > jumpQuietDeg || stats.Seen(w) < n {
			still[k] = math.NaN()
		}
	}
	near := func(a, b float64) bool { return math.Abs(a-b) <= jumpQuietDeg }
	for k := 1; k+1 < len(still); k++ {
		if l := meanOf(c.load[k*n : (k+1)*n]); near(still[k-1], still[k]) && near(still[k], still[k+1]) && !math.IsNaN(l) {
			t, defl, load = append(t, c.s.Time[k*n+n/2]), append(defl, still[k]), append(load, l)
		}
	}
	return t, defl, load
}

// besideLine is a shift beside a straight line: its size, its standard error for a scatter of 1, and what is left.
type besideLine struct{ shift, se, rss float64 }

// shiftBeside fits y = a + b·x, and shift more from k on, by least squares: within both parts for b, between
// them for the shift.
func shiftBeside(y, x []float64, k int) besideLine {
	my, mx := [2]float64{meanOf(y[:k]), meanOf(y[k:])}, [2]float64{meanOf(x[:k]), meanOf(x[k:])}
	part := func(i int) int {
		if i < k {
			return 0
		}
		return 1
	}
	var sxx, sxy float64
	for i := range y {
		dx := x[i] - mx[part(i)]
		sxx, sxy = sxx+dx*dx, sxy+dx*(y[i]-my[part(i)])
	}
	if sxx == 0 {
		return besideLine{rss: math.Inf(1)}
	}
	b, f := sxy/sxx, besideLine{}
	for i := range y {
		r := y[i] - my[part(i)] - b*(x[i]-mx[part(i)])
		f.rss += r * r
	}
	f.shift = my[1] - my[0] - b*(mx[1]-mx[0])
	f.se = math.Sqrt(1/float64(k) + 1/float64(len(y)-k) + (mx[1]-mx[0])*(mx[1]-mx[0])/sxx)
	return f
}
