package analyze_test

import (
	"math"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

type known struct {
	name  string
	path  health.Path
	value float64
	size  bool // the sign is left open
	// again: the twin is the same joint moved once more, from another reading of where it hung, and its
	// scatter from stop to stop is its own: two estimates are compared, each as unsure as the other.
	again bool
}

// compared returns a measure as it is to be held against this truth.
func (k known) compared(m health.Measure) health.Measure {
	if k.size {
		m.Value = math.Abs(m.Value)
	}
	if k.again {
		m.Uncertainty *= math.Sqrt2
	}
	return m
}

// truths returns what is true of a trial: from the parameters in closed form where they say it,
// else read off its twin by the definition of the measure.
func truths(t testing.TB, tr trial) []known {
	t.Helper()
	var out []known
	say := func(name string, p health.Path, v float64) {
		if !math.IsNaN(v) {
			out = append(out, known{name, p, v, name == "offset_step", name == "reversal_error" || name == "mean_reversal"})
		}
	}
	w := tr.truth
	dead := w.Part.PlayDeg
	if w.Belt != nil {
		tension := w.Belt.TensionAt(w.Belt.AgeS)
		if tension <= 0 {
			dead += w.Belt.SlackDeg
		}
		say("belt_tension", stretchOf(tr), tension)
		say("span_slack_torque", stretchOf(tr), w.SlackNm())
	}
	if tr.joint.Sensors.MotorCounts > 0 {
		say("play", health.Transmission, dead)
		say("play", health.Servo, w.Servo.PlayDeg/tr.joint.Ratio())
		// Where a span is slack from a small share of the load on, the taut slope cannot be seen.
		if w.Belt == nil || w.SlackNm() > 0.2*w.Load.PeakNm() {
			say("compliance", health.Transmission, w.DegPerNm())
		}
	}
	say("friction", health.Transmission, w.Bearing.CoulombNm)
	say("play", health.Total, dead+w.Servo.PlayDeg/tr.joint.Ratio())
	if w.Bearing.TightNm > 0 {
		say("tight_spot", health.Total, w.Bearing.TightNm)
		say("tight_spot_angle", health.Total, w.Bearing.TightDeg)
	}
	say("viscous_friction", health.Total, w.Bearing.ViscousNmSPerRad)
	say("lost_samples", health.NoPath, 0)
	say("stall_time", health.NoPath, 0)
	at, step := slipOf(tr)
	slipped := step != 0
	for _, p := range []health.Path{health.Total, health.Transmission} {
		say("offset_step", p, step)
		say("offset_step_time", p, at)
	}
	if tr.joint.Sensors.MotorCounts > 0 {
		say("offset_step", health.Servo, 0)
	}

	peak := 0.0
	rests(tr.twin, 0.2, func(from, to int, kind rig.MoveKind) {
		peak = math.Max(peak, math.Abs(w.Load.MassKg*9.80665*w.Load.LeverM*math.Sin((mean(tr.twin.Angle[from:to])-w.Load.DownDeg)*math.Pi/180)))
	})
	say("load_torque_peak", health.NoPath, peak)
	for _, p := range []health.Path{health.Total, health.Servo, health.Transmission} {
		if p != health.Total && tr.joint.Sensors.MotorCounts == 0 {
			continue
		}
		d := deflection(tr, p)
		if !slipped { // a step of the offset is taken out of them
			iso := isoOf(tr.twin, d)
			say("reversal_error", p, iso.reversal)
			say("mean_reversal", p, iso.mean)
			say("systematic_deviation", p, iso.systematic)
		}
		say("creep", p, creepOf(tr.twin, d))
	}
	stepTruths(tr.twin, say)
	return out
}

// slipOf returns when the joint had slipped half its way and by how much, seen at the joint; NaN and
// 0 when it did not slip. The time is read off the twin, as the joint follows a slip by and by.
func slipOf(tr trial) (at, size float64) {
	switch b := tr.truth.Belt; {
	case len(tr.truth.Horn.Slips) > 0:
		at, size = tr.truth.Horn.Slips[0].AtS, tr.truth.Horn.Slips[0].Deg/tr.joint.Ratio()
	case b != nil && len(b.Skips) > 0:
		at, size = b.Skips[0].AtS, b.Skips[0].Deg*360/(float64(b.Teeth)*b.Ratio)
	default:
		return math.NaN(), 0
	}
	s := tr.twin
	i := 0
	for s.Time[i] < at {
		i++
	}
	from := s.Angle[i] - s.Motor[i]/tr.joint.Ratio()
	for ; i < s.Len(); i++ {
		if math.Abs(s.Angle[i]-s.Motor[i]/tr.joint.Ratio()-from) >= size/2 {
			break
		}
	}
	return s.Time[i], size
}

func stretchOf(tr trial) health.Path {
	if tr.joint.Sensors.MotorCounts > 0 {
		return health.Transmission
	}
	return health.Total
}

func deflection(tr trial, p health.Path) []float64 {
	s := tr.twin
	out := make([]float64, s.Len())
	for i := range out {
		switch p {
		case health.Total:
			out[i] = s.Angle[i] - s.Command[i]
		case health.Servo:
			out[i] = s.Motor[i]/tr.joint.Ratio() - s.Command[i]
		default:
			out[i] = s.Angle[i] - s.Motor[i]/tr.joint.Ratio()
		}
	}
	return out
}

func mean(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

// rests calls visit for the last tailS of each move's dwell.
func rests(s *rig.Series, tailS float64, visit func(from, to int, kind rig.MoveKind)) {
	for i := 1; i <= s.Len(); i++ {
		if i == s.Len() || s.Segment[i] != s.Segment[i-1] {
			from := i - 1
			for from > 0 && s.Segment[from-1] == s.Segment[i-1] && s.Command[from-1] == s.Command[i-1] && s.Time[i-1]-s.Time[from-1] < tailS {
				from--
			}
			if i-from > 10 {
				visit(from, i, s.Move[i-1])
			}
		}
	}
}

type iso struct{ reversal, mean, systematic float64 }

// isoOf reckons ISO 230-2 by its definitions over the stair's stops.
func isoOf(s *rig.Series, d []float64) iso {
	type stop struct{ sum, n [2]float64 }
	stops := map[float64]*stop{}
	last := s.Command[0]
	rests(s, 0.24, func(from, to int, kind rig.MoveKind) {
		target := s.Command[from]
		if kind == rig.MoveStair && target != last {
			if stops[target] == nil {
				stops[target] = &stop{}
			}
			dir := 0
			if target > last {
				dir = 1
			}
			stops[target].sum[dir] += mean(d[from:to])
			stops[target].n[dir]++
		}
		last = target
	})
	var out iso
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range stops {
		down, up := p.sum[0]/p.n[0], p.sum[1]/p.n[1]
		out.reversal = math.Max(out.reversal, math.Abs(up-down))
		out.mean += (up - down) / float64(len(stops))
		lo, hi = math.Min(lo, math.Min(up, down)), math.Max(hi, math.Max(up, down))
	}
	out.systematic = hi - lo
	return out
}

// creepOf is the growth from half a second to the end of the hold, each read over a short window.
func creepOf(s *rig.Series, d []float64) float64 {
	from, to := -1, -1
	for i, k := range s.Move {
		if k == rig.MoveHold {
			if i == 0 || s.Command[i] != s.Command[i-1] {
				from = i // the last change of the command: from here on it is held
			}
			to = i
		}
	}
	if from < 0 {
		return math.NaN()
	}
	n := int(0.7 / (s.Time[from+1] - s.Time[from]))
	start := from + int(0.5/(s.Time[from+1]-s.Time[from]))
	return mean(d[to-n:to]) - mean(d[start:start+n])
}

// stepTruths reads the answers to the jumps off the twin, each by its definition, and means them.
func stepTruths(s *rig.Series, say func(string, health.Path, float64)) {
	var dead, rise, over []float64
	for i := 1; i < s.Len(); i++ {
		if s.Move[i] != rig.MoveStep || s.Segment[i] == s.Segment[i-1] {
			continue
		}
		end := i
		for end < s.Len() && s.Segment[end] == s.Segment[i] && s.Time[end]-s.Time[i] < 1 {
			end++
		}
		jump := i
		for jump < end && s.Command[jump] == s.Command[jump-1] {
			jump++
		}
		if jump == end {
			continue
		}
		y0, y1 := mean(s.Angle[jump-100:jump]), mean(s.Angle[end-200:end])
		at := func(share float64) float64 {
			for k := jump; k < end; k++ {
				if (s.Angle[k]-y0)/(y1-y0) >= share {
					return s.Time[k]
				}
			}
			return math.NaN()
		}
		peak := 0.0
		for k := jump; k < end; k++ {
			peak = math.Max(peak, (s.Angle[k]-y1)*math.Copysign(1, y1-y0))
		}
		dead = append(dead, at(0.02)-s.Time[jump])
		rise = append(rise, at(0.9)-at(0.1))
		over = append(over, peak)
	}
	if len(rise) == 0 {
		return
	}
	say("dead_time", health.NoPath, mean(dead))
	say("rise_time", health.NoPath, mean(rise))
	say("overshoot", health.NoPath, mean(over))
}
