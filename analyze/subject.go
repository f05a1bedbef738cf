package analyze

import (
	"math"
	"slices"

	"limbgauge/analyze/drift"
	"limbgauge/analyze/drive"
	"limbgauge/analyze/health"
	"limbgauge/analyze/segment"
	"limbgauge/analyze/stats"
	"limbgauge/rig"
)

const rad = math.Pi / 180

// subject is a run made ready for measuring: cut into moves, with the torque of the load and the
// deflection of each path beside every sample.
type subject struct {
	s       *rig.Series
	j       rig.Joint
	pieces  []segment.Piece
	stops   []segment.Stop
	targets []float64
	passes  []segment.Pass
	dt      float64 // typical spacing of samples, s
	jitter  float64 // standard deviation of a sample's time, s
	stalls  []drive.Stall
	stallU  float64 // s, expanded uncertainty of the time in them
	// stallWhy says why stalls could not be looked for; empty when they were.
	stallWhy string
	restV    float64 // supply voltage at rest; 0 until it is worked out
	sag      health.Measure

	load  []float64 // torque of the load on the joint, positive to greater angles; nil when unknown
	why   string    // why load is nil
	paths []path    // total first; servo and transmission where a motor-side angle is there
}

// path is one stretch of the joint: how far its far end turns less than its near end. Its deflection is
// worked out where it is asked for, since a long run has no room for three more columns.
type path struct {
	name      health.Path
	far, near side
	// quantum is the root of the squared steps of the sensors involved, deg.
	quantum float64
	steps   []drift.Step
	at      []float64 // time of each step, s
	atU     []float64 // expanded uncertainty of that time, s
	since   []int     // first sample after each step
}

// side is an angle at the joint: a column over its gear.
type side struct {
	col  []float64
	gear float64
}

// raw returns the deflection of some samples, deg, as measured.
func (p *path) raw(from, to int) []float64 {
	out := make([]float64, to-from)
	far, near := p.far.col[from:to], p.near.col[from:to]
	if p.far.gear == 1 && p.near.gear == 1 { // a division costs more than all the rest
		for i := range out {
			out[i] = far[i] - near[i]
		}
		return out
	}
	for i := range out {
		out[i] = far[i]/p.far.gear - near[i]/p.near.gear
	}
	return out
}

// defl returns the deflection of some samples, deg, lasting steps of the offset taken out.
func (p *path) defl(from, to int) []float64 {
	out := p.raw(from, to)
	for k, st := range p.steps {
		for i := max(from, p.since[k]); i < to; i++ {
			out[i-from] -= st.Size
		}
	}
	return out
}

func prepare(seen *sensing, j rig.Joint) *subject {
	s := seen.series
	c := &subject{s: s, j: j, dt: seen.dt, pieces: seen.pieces}
	c.stops, c.targets = segment.Stops(s.Time, c.pieces)
	c.passes = segment.Passes(c.pieces)
	c.restV = restVoltsOf(s, c.pieces)
	c.load, c.why = loadTorque(s, j)
	together(c.findStalls, func() { c.sag = c.sagMeasure() })
	c.paths = pathsOf(s, j)
	var work []func()
	for i := range c.paths {
		work = append(work, func() { c.findSteps(&c.paths[i]) })
	}
	together(work...)
	c.dropEchoes()
	return c
}

func medianSpacing(t []float64) float64 {
	d := make([]float64, len(t)-1)
	for i := range d {
		d[i] = t[i+1] - t[i]
	}
	return stats.Nth(d, len(d)/2)
}

// loadTorque returns the torque of the load on the joint: measured where a torque sensor is there,
// else the hanging mass at the angle seen, m·g·l·sin, positive where it turns the joint to greater
// angles.
func loadTorque(s *rig.Series, j rig.Joint) (load []float64, why string) {
	if s.Torque != nil {
		return s.Torque, ""
	}
	if j.Load == nil || j.Load.MassKg*j.Load.LeverM == 0 {
		return nil, "no load is known for this joint: fill in [joint.load] or log torque_nm"
	}
	load = make([]float64, s.Len())
	k := j.Load.Amplitude()
	some := func(from, to int) func() {
		return func() {
			for i, a := range s.Angle[from:to] {
				load[from+i] = -k * math.Sin((a-j.Load.DownDeg)*rad)
			}
		}
	}
	together(some(0, len(load)/2), some(len(load)/2, len(load)))
	return load, ""
}

func quantumOf(counts int) float64 {
	if counts <= 0 {
		return 0
	}
	return 360 / float64(counts)
}

func pathsOf(s *rig.Series, j rig.Joint) []path {
	qj, qm := quantumOf(j.Sensors.JointCounts), quantumOf(j.Sensors.MotorCounts)/j.Ratio()
	joint, command := side{s.Angle, 1}, side{s.Command, 1}
	out := []path{{name: health.Total, far: joint, near: command, quantum: qj}}
	if s.Motor != nil {
		motor := side{s.Motor, j.Ratio()}
		out = append(out, path{name: health.Servo, far: motor, near: command, quantum: qm},
			path{name: health.Transmission, far: joint, near: motor, quantum: math.Hypot(qj, qm)})
	}
	return out
}

// path returns the path of that name, nil when the run does not show it.
func (c *subject) path(name health.Path) *path {
	for i := range c.paths {
		if c.paths[i].name == name {
			return &c.paths[i]
		}
	}
	return nil
}

// stretch returns the path that shows the joint's mechanics best: the transmission where it is
// seen, else the total.
func (c *subject) stretch() *path {
	if p := c.path(health.Transmission); p != nil {
		return p
	}
	return c.path(health.Total)
}

// index returns the first sample at or after a time.
func (c *subject) index(t float64) int {
	i, _ := slices.BinarySearch(c.s.Time, t)
	return i
}

func meanOf(x []float64) float64 {
	sum, n := 0.0, 0
	for _, v := range x {
		if !math.IsNaN(v) {
			sum += v
			n++
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return sum / float64(n)
}

func sdOf(x []float64) float64 {
	m := meanOf(x)
	sum, n := 0.0, 0
	for _, v := range x {
		if !math.IsNaN(v) {
			sum += (v - m) * (v - m)
			n++
		}
	}
	if n < 2 {
		return math.NaN()
	}
	return math.Sqrt(sum / float64(n-1))
}

func quantile(x []float64, p float64) float64 {
	n := stats.Seen(x)
	if n == 0 {
		return math.NaN()
	}
	return stats.Nth(x, min(n-1, int(p*float64(n))))
}

// greatest returns the greatest size among the readings that are there; 0 when there are none.
func greatest(x []float64) float64 {
	most := 0.0
	for _, v := range x {
		if math.Abs(v) > most {
			most = math.Abs(v)
		}
	}
	return most
}

func absOf(x []float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = math.Abs(v)
	}
	return out
}
