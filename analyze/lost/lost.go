package lost

import (
	"fmt"
	"math"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// Kind is how a stretch loses motion.
type Kind string

// The kinds.
const (
	DeadZone   Kind = "dead zone"
	Compliance Kind = "compliance"
	Friction   Kind = "friction"
)

// Part is what one stretch loses in one way. Deg is the most of it where AtMost is true; NaN with a
// reason where it could not be seen.
type Part struct {
	Path   health.Path
	Kind   Kind
	Deg, U float64 // U is expanded, NaN where it is not known
	AtMost bool
	Reason string
}

// Seen says whether the part has a figure that counts.
func (p Part) Seen() bool { return !math.IsNaN(p.Deg) && !p.AtMost }

// Split is what a joint loses.
type Split struct {
	Joint string
	Parts []Part
	// Known is the sum of the parts that were seen, U its expanded uncertainty: the parts of a stretch
	// come from one fit, so their doubts add up as they are.
	Known, U float64
	// Whole is the range of the mean deviations from command to joint over all stops and both directions
	// (ISO 230-2, systematic deviation), Rest what of it the parts do not explain: error of the sensors'
	// form, of the servo's scale, and what could not be seen. Both NaN where Whole was not measured.
	Whole, WholeU, Rest float64
	// ArmM is how far the foot is from the joint's axis, 0 where it is not known.
	ArmM float64
}

// MM returns how far the foot moves for an angle at the joint, NaN where the arm is not known.
func (s Split) MM(deg float64) float64 {
	if s.ArmM <= 0 {
		return math.NaN()
	}
	return deg * math.Pi / 180 * s.ArmM * 1000
}

// Most returns the part that loses more than all others together, if there is one.
func (s Split) Most() (p Part, ok bool) {
	for _, p := range s.Parts {
		if p.Seen() && p.Deg > s.Known/2 {
			return p, true
		}
	}
	return p, false
}

// Unexplained says whether more is lost than the parts and the doubt about them can be.
func (s Split) Unexplained() bool {
	known := func(u float64) float64 {
		if math.IsNaN(u) {
			return 0
		}
		return u
	}
	return !math.IsNaN(s.Rest) && s.Rest > math.Hypot(known(s.WholeU), known(s.U))
}

// Of splits what a joint loses by the measures of a run. armM is how far the foot is from its axis,
// 0 where that is not known.
func Of(j health.Joint, armM float64) Split {
	s := Split{Joint: j.Joint, ArmM: armM, Whole: math.NaN(), WholeU: math.NaN(), Rest: math.NaN()}
	paths := []health.Path{health.Servo, health.Transmission}
	if !tellsApart(j) {
		paths = []health.Path{health.Total}
	}
	load, _ := j.Find("load_torque_peak", health.NoPath)
	for _, p := range paths {
		s.Parts = append(s.Parts, deadZone(j, p), give(j, p, load), gap(j, p))
	}
	for _, p := range s.Parts {
		if p.Seen() {
			s.Known += p.Deg
			if !math.IsNaN(p.U) {
				s.U += p.U
			}
		}
	}
	if w, ok := j.Find("systematic_deviation", health.Total); ok && w.Status == health.Measured {
		s.Whole, s.WholeU, s.Rest = w.Value, w.Uncertainty, max(0, w.Value-s.Known)
	}
	return s
}

// tellsApart says whether a joint's stretches were seen each by itself.
func tellsApart(j health.Joint) bool {
	m, ok := j.Find("compliance", health.Transmission)
	return ok && m.Status != health.NotObservable
}

func deadZone(j health.Joint, path health.Path) Part {
	m, ok := j.Find("play", path)
	return part(path, DeadZone, m, ok, 1, 0)
}

// give is what a compliance takes between the load pulling one way and the other.
func give(j health.Joint, path health.Path, load health.Measure) Part {
	m, ok := j.Find("compliance", path)
	// At least so much acted where the joint stands short of its command: what the run lost, it lost to that.
	if ok && load.Status != health.Measured && load.Status != health.BoundLow {
		return unseen(path, Compliance, "the load's torque is not known")
	}
	return part(path, Compliance, m, ok, 2*load.Value, 2*load.Uncertainty)
}

// gap is what friction leaves between the two directions.
func gap(j health.Joint, path health.Path) Part {
	m, ok := j.Find("compliance", path)
	f, fok := j.Find("friction", path)
	if !fok || f.Status == health.NotObservable {
		f, fok = j.Find("friction", health.Total)
	}
	if !fok || f.Status != health.Measured {
		why := "friction was not seen"
		if f.Reason != "" {
			why = f.Reason
		}
		return unseen(path, Friction, why)
	}
	return part(path, Friction, m, ok, 2*math.Max(f.Value, 0), 2*f.Uncertainty)
}

// part is a measure times k, which is known to ku (expanded).
func part(path health.Path, kind Kind, m health.Measure, ok bool, k, ku float64) Part {
	switch {
	case !ok:
		return unseen(path, kind, "the run does not have it")
	case m.Status == health.NotObservable || m.Status == health.BoundLow || math.IsNaN(m.Value):
		return unseen(path, kind, m.Reason)
	}
	v := math.Max(m.Value, 0) // a loss below nothing is the doubt's
	return Part{Path: path, Kind: kind, Deg: v * k, U: math.Hypot(m.Uncertainty*k, v*ku), AtMost: m.Status == health.BoundHigh}
}

func unseen(path health.Path, kind Kind, why string) Part {
	if why == "" {
		why = "it was not seen"
	}
	return Part{Path: path, Kind: kind, Deg: math.NaN(), U: math.NaN(), Reason: why}
}

// Arm returns how far the foot is from a joint's axis in the middle of where it stands, m; 0 where the
// bench does not state the leg's geometry or the joint is none of it. Why says what it is.
func Arm(g *rig.Geometry, joint string) (m float64, why string) {
	if g == nil || joint == "" {
		return 0, ""
	}
	reach, height := (g.ReachM[0]+g.ReachM[1])/2, (g.HeightM[0]+g.HeightM[1])/2
	switch joint {
	case g.Knee:
		return g.L3M, fmt.Sprintf("the foot is %.0f mm from the knee axis", 1000*g.L3M)
	case g.Hip:
		m = math.Hypot(reach-g.L1M, height)
		return m, fmt.Sprintf("the foot stands %.0f mm from the hip axis in the middle of its places", 1000*m)
	case g.Yaw:
		return reach, fmt.Sprintf("the foot stands %.0f mm from the yaw axis in the middle of its places", 1000*reach)
	}
	return 0, ""
}
