package rhythm

import (
	"math"
	"slices"

	"limbgauge/analyze/stats"
)

// Point is a moment of the stand's clock and when the host had word of it, both s.
type Point struct{ Device, Host float64 }

// Clock is how the stand's clock lies against the host's.
type Clock struct {
	// PPM is how much faster the stand's clock runs than the host's, in millionths.
	PPM  stats.Estimate
	a, b float64 // the envelope: host = a + b·device
}

// The clock needs so much before it says anything [common practice].
const (
	clockLeastS      = 3.0
	clockLeastPoints = 24
	clockBlocksLeast = 6
	clockBlocksMost  = 24
	clockBlockPoints = 8 // at least, in each block
)

// deviceTick is the resolution of the stand's times, s.
const deviceTick = 1e-6

// How far the least delay may wander over seconds without being seen in the scatter, s: two things that
// take turns at nearly the same rate slide past each other slowly.
const (
	// BeatAnswers is for answers to questions asked at random moments: the turn of the stand's loop
	// remains [common practice].
	BeatAnswers = 0.25e-3
	// BeatLines is for what the stand sends by its own clock: a USB carrier takes it along once a
	// millisecond by the host's (USB 2.0, 5.12.4: frames of full speed).
	BeatLines = 1e-3
)

// FitClock fits host = a + b·device to the lower envelope of the points: a line delays and never hurries,
// so that the least delayed tell the clock. The span is cut into blocks of as many points each; each
// block's least delayed point goes into a least-squares line, which then says anew which is least delayed.
// The points need not be in order. The uncertainty comes from the scatter of those points and from the beat,
// taken as even at either end of the span: beat/√6 of their difference (JCGM 100:2008, 4.3.7 and 4.3.9).
//
// The host's clock is taken as right; a computer's own is off by some tens of ppm unless it is held by
// a time service (common practice).
func FitClock(points []Point, beat float64) Clock {
	p := slices.Clone(points)
	slices.SortFunc(p, func(x, y Point) int {
		switch {
		case x.Device < y.Device:
			return -1
		case x.Device > y.Device:
			return 1
		}
		return 0
	})
	nan := Clock{a: math.NaN(), b: math.NaN()}
	if len(p) < clockLeastPoints {
		nan.PPM = stats.Unseen("%d messages with a time came; %d are needed", len(p), clockLeastPoints)
		return nan
	}
	if span := p[len(p)-1].Host - p[0].Host; span < clockLeastS {
		nan.PPM = stats.Unseen("%.1f s are too short; it takes %g s", span, clockLeastS)
		return nan
	}
	x, y := columns(p)
	fit, err := stats.FitLine(x, y)
	if err != nil {
		nan.PPM = stats.Unseen("the stand's clock stands still")
		return nan
	}
	blocks := min(max(len(p)/clockBlockPoints, 1), clockBlocksMost)
	if blocks < clockBlocksLeast {
		blocks = clockBlocksLeast
	}
	for range 4 { // the choice of points settles in two rounds; more cost nothing
		x, y = columns(leastDelayed(p, blocks, fit.Slope.Value))
		if fit, err = stats.FitLine(x, y); err != nil {
			nan.PPM = stats.Unseen("the stand's clock stands still")
			return nan
		}
	}
	b := fit.Slope
	if !(b.Value > 0) {
		nan.PPM = stats.Unseen("the stand's clock runs backwards")
		return nan
	}
	b.U = math.Hypot(b.U, beat/math.Sqrt(6)/(x[len(x)-1]-x[0]))
	// Rounding of the stand's times to its resolution, as if independent in each point.
	b.U = math.Hypot(b.U, stats.QuantumU(deviceTick, 0)/spread(x))
	return Clock{
		PPM: stats.Estimate{Value: (1/b.Value - 1) * 1e6, U: b.U / (b.Value * b.Value) * 1e6, DF: b.DF},
		a:   fit.Intercept.Value, b: b.Value,
	}
}

// leastDelayed returns of each block the point with the smallest host - b·device.
func leastDelayed(p []Point, blocks int, b float64) []Point {
	out := make([]Point, 0, blocks)
	for k := range blocks {
		from, to := k*len(p)/blocks, (k+1)*len(p)/blocks
		if from == to {
			continue
		}
		out = append(out, slices.MinFunc(p[from:to], func(x, y Point) int {
			if d := x.Host - b*x.Device - (y.Host - b*y.Device); d < 0 {
				return -1
			} else if d > 0 {
				return 1
			}
			return 0
		}))
	}
	return out
}

// spread returns √Σ(x-x̄)².
func spread(x []float64) float64 {
	m, s := stats.Mean(x), 0.0
	for _, v := range x {
		s += (v - m) * (v - m)
	}
	return math.Sqrt(s)
}

func columns(p []Point) (x, y []float64) {
	for _, q := range p {
		x, y = append(x, q.Device), append(y, q.Host)
	}
	return x, y
}

// Late says how much later messages arrived than the quickest way would have brought them, s.
type Late struct {
	Typical float64 // median
	P99     float64
	Most    float64
	N       int
}

// Lateness measures messages against the clock's envelope. What lies below it, by the scatter of the fit, counts as 0.
// All is NaN where the clock is not known.
func (c Clock) Lateness(points []Point) Late {
	nan := math.NaN()
	if len(points) == 0 || !c.PPM.Seen() {
		return Late{nan, nan, nan, len(points)}
	}
	d := make([]float64, len(points))
	for i, p := range points {
		d[i] = p.Host - c.a - c.b*p.Device
	}
	// Above the quickest of these messages: how long they are on the line is no jitter.
	least := slices.Min(d)
	for i := range d {
		d[i] -= least
	}
	slices.Sort(d)
	return Late{stats.Quantile(0.5, d), stats.Quantile(0.99, d), d[len(d)-1], len(d)}
}
