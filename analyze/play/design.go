package play

import (
	"cmp"
	"math"
	"slices"

	"limbgauge/analyze/stats"
)

// col is a column of the model.
type col int

const (
	cOffset col = iota
	cSlope      // torque the stretch carries
	cStep       // half the play
	cKnee       // torque beyond the knee
	cAt         // where the knee lies: derivative
	cShift      // friction of moving points: derivative
	cGap        // moving points against standing ones, where friction is not told
	cRest       // standing points against their direction of approach
	cLag        // creep: moving points lag behind the load
	cWave       // even part of an off-centre sensor, once a turn
	cBow        // odd part, twice a turn
	nCols
)

// row is one reading made ready for the model.
type row struct {
	Point
	flank float64 // side of the gap that is pressed: +1, -1
	cos   float64 // of the angle from where the load hangs, less its mean
	sin   float64
	sin2  float64 // of twice that angle
	lag   float64 // the load a quarter of a cycle before, about: what creep's lag goes by, N·m
	w     float64 // weight
	block int     // cycle or pass, numbered from 0
}

// hang describes the load by angle: peak·sin of the angle from down, as a mass on a lever has it.
// peak is 0 where the load does not go with the angle.
type hang struct {
	peak, down float64 // N·m, rad
	span       float64 // deg, range of the angles
}

// hanging finds that from the points themselves, so that a torque sensor's reading serves too.
func hanging(points []Point) hang {
	lo, hi := math.Inf(1), math.Inf(-1)
	var ss, sc, cc, sl, cl, ll float64
	for _, p := range points {
		lo, hi = math.Min(lo, p.Angle), math.Max(hi, p.Angle)
		s, c := math.Sincos(p.Angle * math.Pi / 180)
		ss, sc, cc = ss+s*s, sc+s*c, cc+c*c
		sl, cl, ll = sl+s*p.Load, cl+c*p.Load, ll+p.Load*p.Load
	}
	h := hang{span: hi - lo}
	det := ss*cc - sc*sc
	if h.span < formLeastDeg || det < 1e-6*ss*cc {
		return h
	}
	a, b := (sl*cc-cl*sc)/det, (cl*ss-sl*sc)/det // load = a·sin + b·cos
	if rest := ll - a*sl - b*cl; rest > (1-hangingLeast)*ll {
		return h
	}
	h.peak = math.Hypot(a, b)
	h.down = math.Atan2(b, -a)
	return h
}

const (
	// formLeastDeg is the least range of angles over which a sensor's form can bend the line.
	formLeastDeg = 20.0
	// hangingLeast is the share of the load's squares that a hanging mass must explain.
	hangingLeast = 0.98
	// crossDeg of motion on either side of the change of flank are left out beside the play: the joint is
	// on its way between flanks and lands with a bounce, and a stretch of ramp straddles them [common
	// practice].
	crossDeg = 3.0
)

// prepare makes rows of the points that surely press a flank, under a preliminary friction f and
// play (deg); they are sorted, so that nothing depends on the order of the points.
func prepare(points []Point, tmax, f, play float64, h hang, o Options) []row {
	perDeg := h.peak * math.Pi / 180
	if perDeg == 0 && h.span > 0 {
		perDeg = 2 * tmax / h.span
	}
	still := math.Inf(1) // no window of crossing where the loop has not been looked at yet
	if !math.IsNaN(play) {
		still = perDeg * (crossDeg + math.Max(0, play))
	}
	rows := make([]row, 0, len(points))
	mean := 0.0
	for _, p := range points {
		if math.Abs(p.Load) < o.Lowest*tmax || p.Static && math.Abs(p.Load) < math.Max(DefaultLowest*tmax, restLeast*f) {
			continue
		}
		r := row{Point: p, flank: stats.Sign(p.Load), w: 1}
		if o.Friction && !p.Static {
			r.flank = stats.Sign(p.Load - f*float64(p.Dir))
			lowering := p.Load*float64(p.Dir) > 0
			if lowering && !math.IsInf(still, 1) && math.Abs(p.Load-f*float64(p.Dir)) < still {
				continue
			}
		}
		r.sin, r.cos = math.Sincos(p.Angle*math.Pi/180 - h.down)
		r.sin2 = 2 * r.sin * r.cos
		r.lag = float64(p.Dir) * stats.Sign(r.cos) * math.Sqrt(math.Max(0, tmax*tmax-p.Load*p.Load))
		mean += r.cos
		rows = append(rows, r)
	}
	for i := range rows {
		rows[i].cos -= mean / float64(len(rows))
	}
	slices.SortStableFunc(rows, func(a, b row) int {
		return cmp.Or(side(a.Static)-side(b.Static), a.Group-b.Group, a.Dir-b.Dir, cmp.Compare(a.Angle, b.Angle), cmp.Compare(a.Load, b.Load), cmp.Compare(a.Defl, b.Defl))
	})
	block := -1
	for i := range rows {
		if i == 0 || rows[i].Static != rows[i-1].Static || rows[i].Group != rows[i-1].Group {
			block++
		}
		rows[i].block = block
	}
	return rows
}

func side(static bool) int {
	if static {
		return 0
	}
	return 1
}

// columns lists what the rows can tell apart.
func columns(rows []row, h hang, o Options) []col {
	var up, down, moving, standing int
	restBoth := map[[2]int]bool{}
	for i := range rows {
		r := &rows[i]
		if r.Load > 0 {
			up++
		} else {
			down++
		}
		if r.Static {
			standing++
			restBoth[[2]int{int(stats.Sign(r.Load)), r.Dir}] = true
		} else {
			moving++
		}
	}
	both := up >= 3 && down >= 3
	out := []col{cOffset, cSlope}
	if both {
		out = append(out, cStep)
	}
	dirs := map[int]bool{}
	for i := range rows {
		if !rows[i].Static {
			dirs[rows[i].Dir] = true
		}
	}
	switch {
	case o.Friction && moving > 0 && dirs[1] && dirs[-1]:
		out = append(out, cShift)
		if moving >= lagLeast && h.peak > 0 {
			out = append(out, cLag)
		}
	case !o.Friction && moving > 0 && standing > 0 && both:
		out = append(out, cGap)
	}
	if o.Friction && len(restBoth) == 4 && standing >= restRows {
		out = append(out, cRest)
	}
	if o.Wave && both && h.span >= formLeastDeg {
		out = append(out, cWave)
		if o.SensorDeg > 0 {
			out = append(out, cBow)
		}
	}
	return out
}

const (
	// restLeast is how many times the friction a load must reach for a stop to press a flank surely.
	restLeast = 1.3
	// lagLeast and restRows are from how many moving and standing rows creep's lag and the place of rest
	// in the friction are told [common practice].
	lagLeast, restRows = 20, 16
)

// fill puts a row's columns into x and returns the reading they have to explain. f is the friction
// about which the model is made linear, m the knee; c and d are slope and growth as far as known.
func (r *row) fill(x *[nCols]float64, cols []col, f, m, c, d, bend float64) {
	tau, shift := r.Load, 0.0
	if !r.Static {
		tau -= f * float64(r.Dir)
		shift = -float64(r.Dir)
	}
	over := 0.0
	if m > 0 {
		over = math.Max(0, math.Abs(tau)-m) * stats.Sign(tau)
	}
	for _, k := range cols {
		switch k {
		case cOffset:
			x[k] = 1
		case cSlope:
			x[k] = tau + bend*over
		case cStep:
			x[k] = r.flank
		case cKnee:
			x[k] = over
		case cAt:
			x[k] = 0
			if over != 0 {
				x[k] = -d * stats.Sign(tau)
			}
		case cShift:
			x[k] = shift * c
			if over != 0 {
				x[k] = shift * (c + d)
			}
		case cGap:
			x[k] = shift
		case cRest:
			x[k] = 0
			if r.Static {
				x[k] = -float64(r.Dir)
			}
		case cLag:
			x[k] = 0
			if !r.Static {
				x[k] = r.lag
			}
		case cWave:
			x[k] = r.cos
		case cBow:
			x[k] = r.sin2
		}
	}
}

// signs says whether the load pressed both flanks. The load decides, not the torque after friction:
// friction alone does not open a gap that the load holds shut.
func signs(rows []row) bool {
	var up, down int
	for i := range rows {
		if load := rows[i].Load; load > 0 {
			up++
		} else if load < 0 {
			down++
		}
	}
	return up >= 3 && down >= 3
}
