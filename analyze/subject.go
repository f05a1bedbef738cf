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

const (
	gravity = 9.80665 // m/s², standard acceleration of free fall (CGPM 1901)
	rad     = math.Pi / 180
)

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
	sag      health.Measure

	load  []float64 // torque of the load on the joint, positive to greater angles; nil when unknown
	why   string    // why load is nil
	paths []path    // total first; servo and transmission where a motor-side angle is there
}

// path is one stretch of the joint with its deflection per sample.
type path struct {
	name health.Path
	raw  []float64 // deg, as measured
	defl []float64 // deg, lasting steps of the offset taken out
	// quantum is the root of the squared steps of the sensors involved, deg.
	quantum float64
	steps   []drift.Step
	at      []float64 // time of each step, s
	atU     []float64 // expanded uncertainty of that time, s
}

func prepare(seen *sensing, j rig.Joint) *subject {
	s := seen.series
	c := &subject{s: s, j: j, dt: medianSpacing(s.Time), pieces: seen.pieces}
	c.stops, c.targets = segment.Stops(s.Time, c.pieces)
	c.passes = segment.Passes(c.pieces)
	c.load, c.why = loadTorque(s, j)
	// What works on whole columns comes before the paths, which are three more of them.
	together(c.findStalls, func() { c.sag = c.sagMeasure() })
	c.paths = pathsOf(s, j)
	var work []func()
	for i := range c.paths {
		work = append(work, func() { c.findSteps(&c.paths[i]) })
	}
	together(work...)
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
	k := j.Load.MassKg * gravity * j.Load.LeverM
	for i, a := range s.Angle {
		load[i] = -k * math.Sin((a-j.Load.DownDeg)*rad)
	}
	return load, ""
}

func quantumOf(counts int) float64 {
	if counts <= 0 {
		return 0
	}
	return 360 / float64(counts)
}

func pathsOf(s *rig.Series, j rig.Joint) []path {
	n := s.Len()
	qj, qm := quantumOf(j.Sensors.JointCounts), quantumOf(j.Sensors.MotorCounts)/j.Ratio()
	total := path{name: health.Total, raw: make([]float64, n), quantum: qj}
	for i := range n {
		total.raw[i] = s.Angle[i] - s.Command[i]
	}
	out := []path{total}
	if s.Motor != nil {
		servo := path{name: health.Servo, raw: make([]float64, n), quantum: qm}
		trans := path{name: health.Transmission, raw: make([]float64, n), quantum: math.Hypot(qj, qm)}
		for i := range n {
			servo.raw[i] = s.Motor[i]/j.Ratio() - s.Command[i]
			trans.raw[i] = s.Angle[i] - s.Motor[i]/j.Ratio()
		}
		out = append(out, servo, trans)
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
