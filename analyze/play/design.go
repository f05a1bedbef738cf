package play

import (
	"math"

	"limbgauge/analyze/stats"
)

// The columns of the model, and the readings beside them.
const (
	cOffset = iota
	cSlope
	cStep
	cKnee
	cGap
	cWave
	cRead // y
	nCols
)

// design tells, for one set of readings and many choices of friction and knee, what sum of squares
// solve would leave. A search asks thousands of times, and most products of columns stay as they are
// from one choice to the next: they are summed once, those of the torque once for each friction. Sums
// run in the order of the readings, as in solve, so that both say the same to the last bit.
type design struct {
	o    Options
	rows []row // without friction
	both bool
	gap  bool
	tau  []float64 // after friction
	col  [nCols][]float64
	dot  [nCols][nCols]float64
}

func newDesign(points []Point, tmax float64, o Options) *design {
	straight := o
	straight.Friction = false
	d := &design{o: o, rows: build(points, tmax, 0, straight)}
	n := len(d.rows)
	d.both = signs(d.rows)
	moving, standing := false, false
	d.tau = make([]float64, n)
	for c := range d.col {
		d.col[c] = make([]float64, n)
	}
	for i := range d.rows {
		r := &d.rows[i]
		moving, standing = moving || !r.p.Static, standing || r.p.Static
		d.col[cOffset][i], d.col[cGap][i], d.col[cWave][i], d.col[cRead][i] = 1, column("gap", r, 0), r.wave, r.y
	}
	d.gap = !o.Friction && moving && standing && d.both
	d.products(cOffset, cOffset, cGap, cWave, cRead)
	d.products(cGap, cGap, cWave, cRead)
	d.products(cWave, cWave, cRead)
	return d
}

// products sums the products of a column with others.
func (d *design) products(c int, with ...int) {
	a := d.col[c]
	for ; len(with) >= 4; with = with[4:] { // four sums at once keep the processor busy
		w, x, y, z := d.col[with[0]][:len(a)], d.col[with[1]][:len(a)], d.col[with[2]][:len(a)], d.col[with[3]][:len(a)]
		var sw, sx, sy, sz float64
		for i, v := range a {
			sw += v * w[i]
			sx += v * x[i]
			sy += v * y[i]
			sz += v * z[i]
		}
		for k, s := range [...]float64{sw, sx, sy, sz} {
			d.dot[c][with[k]], d.dot[with[k]][c] = s, s
		}
	}
	for _, o := range with {
		s := dot(a, d.col[o])
		d.dot[c][o], d.dot[o][c] = s, s
	}
}

// friction sets the torque that the stretch carries.
func (d *design) friction(f float64) {
	for i := range d.rows {
		r := &d.rows[i]
		d.tau[i] = r.p.Load
		if d.o.Friction && !r.p.Static {
			d.tau[i] -= f * float64(r.p.Dir)
		}
		d.col[cStep][i] = stats.Sign(d.tau[i])
	}
	d.products(cStep, cOffset, cStep, cGap, cWave, cRead)
	if d.o.bend == 0 {
		copy(d.col[cSlope], d.tau)
		d.products(cSlope, cOffset, cSlope, cStep, cGap, cWave, cRead)
	}
}

// kneeAt sets the knee; NaN for none.
func (d *design) kneeAt(m float64) {
	if math.IsNaN(m) {
		if d.o.bend != 0 {
			panic("play: a bend without a knee")
		}
		return
	}
	for i, t := range d.tau {
		d.col[cKnee][i] = d.col[cStep][i] * math.Max(0, math.Abs(t)-m)
	}
	if d.o.bend == 0 {
		d.products(cKnee, cOffset, cSlope, cStep, cKnee, cGap, cWave, cRead)
		return
	}
	for i, t := range d.tau {
		d.col[cSlope][i] = t + d.o.bend*d.col[cKnee][i]
	}
	d.products(cSlope, cOffset, cSlope, cStep, cGap, cWave, cRead)
}

// rss returns the sum of squares for the friction and knee that were set; ok is false where solve
// would give none.
func (d *design) rss(m float64, shut bool) (rss float64, ok bool) {
	use := []int{cOffset, cSlope}
	if d.both && !shut {
		use = append(use, cStep)
	}
	if !math.IsNaN(m) && d.o.bend == 0 {
		use = append(use, cKnee)
	}
	if d.gap {
		use = append(use, cGap)
	}
	if d.o.Wave && d.both {
		use = append(use, cWave)
	}
	if len(d.rows) < len(use)+3 {
		return 0, false
	}
	x, _, ok := normal(len(use), func(i, j int) float64 { return d.dot[use[i]][use[j]] }, func(i int) float64 { return d.dot[use[i]][cRead] })
	if !ok {
		return 0, false
	}
	if d.both && d.o.opens && !shut && x[2] < 0 {
		return d.rss(m, true)
	}
	return residual(columnsOf(d, use), x, d.col[cRead]), true
}

func columnsOf(d *design, use []int) [][]float64 {
	out := make([][]float64, len(use))
	for i, c := range use {
		out[i] = d.col[c]
	}
	return out
}
