package analyze

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"limbgauge/analyze/health"
	"limbgauge/analyze/play"
	"limbgauge/rig"
)

// loopCurve draws deflection against load torque with the fitted model.
func (c *subject) loopCurve(l loops) (health.Curve, bool) {
	if len(l.points) == 0 {
		return health.Curve{}, false
	}
	cv := health.Curve{ID: "loop-" + string(l.path.name), Title: "Deflection against load torque, " + string(l.path.name),
		XLabel: "load torque in N·m", YLabel: "deflection in deg"}
	for _, dir := range []int{1, -1} {
		ln := health.Line{Name: "moving to greater angles", Role: health.RoleUp, Points: true}
		if dir < 0 {
			ln = health.Line{Name: "moving to smaller angles", Role: health.RoleDown, Points: true}
		}
		for _, p := range l.points {
			if p.Dir == dir {
				ln.X, ln.Y = append(ln.X, p.Load), append(ln.Y, p.Defl)
			}
		}
		cv.Lines = append(cv.Lines, ln)
	}
	cv.Alt = fmt.Sprintf("deflection of the %s path under %d loads, without a model", l.path.name, len(l.points))
	if l.loop.N > 0 {
		cv.Lines = append(cv.Lines, modelLines(l)...)
		cv.Alt = fmt.Sprintf("deflection of the %s path rises by %.2f deg per N·m, with a step of %.2f deg where the torque changes sign",
			l.path.name, l.loop.Compliance.Value, l.loop.Play.Value)
		if !math.IsNaN(l.loop.Knee) {
			cv.Alt += fmt.Sprintf("; beyond %.3f N·m it rises faster", l.loop.Knee)
		}
	}
	return cv, true
}

// modelLines draws the fitted loop, one branch a direction where friction holds it open.
func modelLines(l loops) []health.Line {
	dirs := []float64{0}
	if l.shift && l.loop.Friction.Value > 0 {
		dirs = []float64{1, -1}
	}
	var out []health.Line
	lo, hi := torqueRange(l.points)
	for _, d := range dirs {
		ln := health.Line{Name: "model", Role: health.RoleModel}
		const n = 161
		for i := range n {
			load := lo + (hi-lo)*float64(i)/(n-1)
			tau := load
			if d != 0 {
				tau -= d * l.loop.Friction.Value
			}
			ln.X, ln.Y = append(ln.X, load), append(ln.Y, l.loop.At(tau))
		}
		out = append(out, ln)
	}
	return out
}

func torqueRange(points []play.Point) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, p := range points {
		lo, hi = math.Min(lo, p.Load), math.Max(hi, p.Load)
	}
	return lo, hi
}

// errorCurve draws the deviation at every stop over the target, both ways.
func (c *subject) errorCurve(p *path) (health.Curve, bool) {
	if len(c.stops) == 0 {
		return health.Curve{}, false
	}
	cv := health.Curve{ID: "error-" + string(p.name), Title: "Deviation at the stops, " + string(p.name),
		XLabel: "target angle in deg", YLabel: "deviation in deg"}
	worst := 0.0
	for _, dir := range []int{1, -1} {
		sum, n := map[float64]float64{}, map[float64]int{}
		points := health.Line{Name: "reached rising", Role: health.RoleUp, Points: true}
		mean := health.Line{Name: "mean, rising", Role: health.RoleUp}
		if dir < 0 {
			points.Name, points.Role, mean.Name, mean.Role = "reached falling", health.RoleDown, "mean, falling", health.RoleDown
		}
		for _, s := range c.stops {
			if s.Dir != dir {
				continue
			}
			d := meanOf(p.defl(s.Tail[0], s.Tail[1]))
			points.X, points.Y = append(points.X, s.Target), append(points.Y, d)
			sum[s.Target] += d
			n[s.Target]++
		}
		for t := range sum {
			mean.X = append(mean.X, t)
		}
		sort.Float64s(mean.X)
		for _, t := range mean.X {
			mean.Y = append(mean.Y, sum[t]/float64(n[t]))
			worst = math.Max(worst, math.Abs(sum[t]/float64(n[t])))
		}
		cv.Lines = append(cv.Lines, points, mean)
	}
	cv.Alt = fmt.Sprintf("deviation of the %s path at %d stops reached from both sides; the greatest mean is %.2f deg", p.name, len(c.targets), worst)
	return cv, true
}

// timeCurve draws one column over time.
func (c *subject) timeCurve(id, title, label string, col []float64, limit float64) (health.Curve, bool) {
	if col == nil {
		return health.Curve{}, false
	}
	cv := health.Curve{ID: id, Title: title, XLabel: "time in s", YLabel: label}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range col {
		if v < lo {
			lo = v
		}
		if v > hi {
			hi = v
		}
	}
	_, unit, _ := strings.Cut(label, " in ")
	cv.Alt = fmt.Sprintf("%s over %.0f s, between %.3g and %.3g %s", title, c.s.Time[c.s.Len()-1]-c.s.Time[0], lo, hi, unit)
	x, y := thinned(c.s.Time, col)
	cv.Lines = append(cv.Lines, health.Line{Name: "measured", Role: health.RoleValue, X: x, Y: y})
	if limit > 0 {
		cv.Lines = append(cv.Lines, health.Line{Name: "limit of the stand", Role: health.RoleLimit,
			X: []float64{c.s.Time[0], c.s.Time[c.s.Len()-1]}, Y: []float64{limit, limit}})
		cv.Alt += fmt.Sprintf("; the limit of the stand is %.3g %s", limit, unit)
	}
	return cv, true
}

// drawnWhole is how many samples are drawn one by one; of more, drawnParts even parts show their extremes.
const drawnWhole, drawnParts = 50_000, 8192

// thinned returns a column over time for drawing. A long one would keep its samples in memory for as
// long as there is an answer; of each part the first, least, greatest and last reading are kept, which
// draw the same band where a part is narrower than the line.
func thinned(t, y []float64) (tx, ty []float64) {
	if len(y) <= drawnWhole {
		return t, y
	}
	for k := range drawnParts {
		from, to := k*len(y)/drawnParts, (k+1)*len(y)/drawnParts
		lo, hi := from, from
		for i := from; i < to; i++ {
			if y[i] < y[lo] || math.IsNaN(y[lo]) {
				lo = i
			}
			if y[i] > y[hi] || math.IsNaN(y[hi]) {
				hi = i
			}
		}
		last := -1
		for _, i := range [...]int{from, min(lo, hi), max(lo, hi), to - 1} {
			if i > last {
				tx, ty, last = append(tx, t[i]), append(ty, y[i]), i
			}
		}
	}
	return tx, ty
}

// holdCurve draws how the longest hold gives way.
func (c *subject) holdCurve(p *path) (health.Curve, bool) {
	hold, ok := longestHold(c.pieces)
	if !ok {
		return health.Curve{}, false
	}
	ln := health.Line{Name: "deflection since the hold began", Role: health.RoleValue}
	// Tenths of a second are enough to see growth, and hide the sensor's quanta.
	t0 := c.s.Time[hold.Dwell[0]]
	first := math.NaN()
	for i := hold.Dwell[0]; i < hold.Dwell[1]; {
		k := i
		for k < hold.Dwell[1] && c.s.Time[k] < c.s.Time[i]+0.1 {
			k++
		}
		if at := c.s.Time[i] - t0; at >= 0.5 {
			w := meanOf(p.defl(i, k))
			if math.IsNaN(first) {
				first = w
			}
			ln.X, ln.Y = append(ln.X, at), append(ln.Y, w-first)
		}
		i = k
	}
	if len(ln.X) < 2 {
		return health.Curve{}, false
	}
	return health.Curve{ID: "hold", Title: "Giving way in the hold, " + string(p.name), XLabel: "time in the hold in s",
		YLabel: "change in deg", Alt: fmt.Sprintf("over %.0f s of hold the deflection changes by %.2f deg", ln.X[len(ln.X)-1], ln.Y[len(ln.Y)-1]),
		Lines: []health.Line{ln}}, true
}

// stepCurve overlays the step responses, each scaled to its own size.
func (c *subject) stepCurve() (health.Curve, bool) {
	cv := health.Curve{ID: "step", Title: "Step responses", XLabel: "time since the step in s", YLabel: "share of the step"}
	for _, p := range c.pieces {
		if p.Kind != rig.MoveStep || p.Shake || p.Travel[1] <= p.Travel[0] {
			continue
		}
		from, to := p.Travel[0], min(p.Dwell[1], c.index(c.s.Time[p.Travel[0]]+0.8))
		if from == 0 || to-from < 10 {
			continue
		}
		role, name := health.RoleUp, "to greater angles"
		if p.Dir() < 0 {
			role, name = health.RoleDown, "to smaller angles"
		}
		ln := health.Line{Name: name, Role: role}
		start := c.s.Angle[from-1]
		for i := from; i < to; i++ {
			ln.X = append(ln.X, c.s.Time[i]-c.s.Time[from])
			ln.Y = append(ln.Y, (c.s.Angle[i]-start)/(p.ToDeg-p.FromDeg))
		}
		cv.Lines = append(cv.Lines, ln)
	}
	if len(cv.Lines) == 0 {
		return cv, false
	}
	furthest := math.Inf(-1)
	for _, ln := range cv.Lines {
		for _, y := range ln.Y {
			if y > furthest { // a reading that is missing is not
				furthest = y
			}
		}
	}
	cv.Alt = fmt.Sprintf("steps laid over one another, %d in all, each scaled to its own size; the furthest goes to %.2f of it", len(cv.Lines), furthest)
	cv.Lines = append(cv.Lines, health.Line{Name: "command", Role: health.RoleCommand, X: []float64{0, 0.8}, Y: []float64{1, 1}})
	return cv, true
}
