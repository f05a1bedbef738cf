package rig

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// stops returns nine targets over 80 % of the range, as shares of it from its middle. They are
// spaced unevenly so that errors which repeat with a gear tooth, a belt tooth or an encoder's
// harmonic do not fall on all of them alike (ISO 230-2: target = (i-1)·p + r). They are always the
// same, so that runs compare.
func stops() []float64 {
	return []float64{-0.400, -0.312, -0.186, -0.107, 0.012, 0.091, 0.214, 0.289, 0.400}
}

const (
	// beyond is where a stair and a ramp turn round, as a share like the stops but outside the last,
	// so that every stop is approached from one known side.
	beyond = 0.43
	// holdReach is the furthest a hold goes.
	holdReach = 0.44

	slowDegPerS     = 20.0 // to the first angle, before anything is known to work
	stairDegPerS    = 60.0
	rampDegPerS     = 15.0
	fastRampDegPerS = 40.0

	// speedShare is the greatest share of the no-load speed a stair or ramp asks of a servo: one
	// that falls behind its command shows lag, not play (common practice).
	speedShare = 0.4
	// passS is the least time a ramp takes, so that even a narrow range gives a pass to average over.
	passS = 2.5

	stairDwell = 600 * time.Millisecond
	turnDwell  = 400 * time.Millisecond
	rampDwell  = 300 * time.Millisecond // long enough to tell two passes apart
	stepDwell  = 1200 * time.Millisecond
	restDwell  = time.Second

	stepDeg   = 18.0
	stepShare = 0.25 // of the range, where that is less

	// asideDeg is how far a rest that is to be compared is approached from, always from smaller angles
	// and slowly: friction and play then leave the joint on the same side.
	asideDeg   = 12.0
	asideShare = 0.1 // of the range, where that is less
)

// shakes are the small jumps of the routine shake: half their height, how long one bit lasts, and how
// many bits. Quick bits reach high frequencies, slow ones give the low ones their share; two heights
// tell a dead zone, whose gain grows with the height.
var shakes = [...]struct {
	deg  float64
	bit  time.Duration
	bits int
}{
	{2, 40 * time.Millisecond, 511}, {2, 120 * time.Millisecond, 127},
	{5, 40 * time.Millisecond, 511}, {5, 120 * time.Millisecond, 127},
}

// RoutineKind is a built-in routine with what it is for and how long it usually takes, "" where the first
// says so.
type RoutineKind struct{ Name, What, Takes string }

// Words say what the routine is for and how long it usually takes.
func (k RoutineKind) Words() string {
	if k.Takes == "" {
		return k.What
	}
	return k.What + ", " + k.Takes
}

// RoutineKinds lists the built-in routines. How long one takes hangs on the joint.
func RoutineKinds() []RoutineKind {
	return []RoutineKind{
		{"assembly", "all measures", "about 3 minutes"},
		{"quick", "a first look", "about 45 s"},
		{"check", "slower, for belt tension", "about 70 s"},
		{"hold", "5 minutes of hold, for creep", ""},
		{"shake", "small jumps, for the frequency response", "about 85 s"},
	}
}

// RoutineNames lists the names of the built-in routines.
func RoutineNames() (names []string) {
	for _, r := range RoutineKinds() {
		names = append(names, r.Name)
	}
	return names
}

// BuiltinRoutine makes a built-in routine to measure for a joint:
//
//	assembly  all that is measured after assembly: 5 cycles over 9 stops, slow and fast ramps,
//	          steps, a hold of 20 s where the load pulls hardest; about 3 minutes
//	quick     2 cycles over the stops and one ramp; about 40 s
//	check     2 cycles over the stops and 2 slow ramps, which show a belt's tension; about 70 s
//	hold      5 minutes of hold where the load pulls hardest, for creep, between two like rests
//	shake     small jumps to and fro in a fixed order that looks like chance, about where the load
//	          pulls least, for the frequency response; some steps; about 80 s
//
// Every routine goes slowly to its first angle and stays inside the joint's range.
func BuiltinRoutine(name string, j Joint) (Routine, error) {
	if !(j.RangeDeg[0] < j.RangeDeg[1]) || math.IsInf(j.RangeDeg[1]-j.RangeDeg[0], 0) {
		return Routine{}, fmt.Errorf("routine %q: joint %q has no range to move in: %v..%v deg", name, j.Name, j.RangeDeg[0], j.RangeDeg[1])
	}
	p := plan{j: j}
	switch name {
	case "assembly":
		p.toFirst()
		p.stair(5)
		p.ramp(3, rampDegPerS)
		p.ramp(1, fastRampDegPerS)
		p.add(MoveSettle, p.at(0), slowDegPerS, restDwell)
		p.step(6)
		p.rest(p.at(0), fastRampDegPerS, restDwell)
		p.add(MoveHold, p.heaviest(), fastRampDegPerS, 20*time.Second)
		p.rest(p.at(0), fastRampDegPerS, restDwell)
	case "quick":
		p.toFirst()
		p.stair(2)
		p.ramp(1, 2*rampDegPerS)
		p.add(MoveSettle, p.at(0), fastRampDegPerS, restDwell)
	case "check":
		p.toFirst()
		p.stair(2)
		p.ramp(2, rampDegPerS)
		p.add(MoveSettle, p.at(0), fastRampDegPerS, restDwell)
	case "hold":
		rest := p.lightest()
		p.rest(rest, slowDegPerS, 5*time.Second)
		p.add(MoveHold, p.heaviest(), slowDegPerS, 5*time.Minute)
		p.rest(rest, slowDegPerS, 30*time.Second)
	case "shake":
		p.add(MoveSettle, p.inside(p.lightest()), slowDegPerS, restDwell)
		p.shake(p.inside(p.lightest()))
		p.add(MoveSettle, p.at(0), slowDegPerS, 2*restDwell)
		p.step(6)
		p.add(MoveSettle, p.at(0), slowDegPerS, restDwell)
	default:
		return Routine{}, &NameError{What: "routine", Name: name, Known: RoutineNames()}
	}
	r := Routine{Name: name, Moves: p.moves}
	return r, r.Check(j)
}

// plan collects the moves of a routine for one joint.
type plan struct {
	j     Joint
	moves []Move
}

// at returns the angle that lies a share of the range away from its middle, to 0.001 deg (the
// resolution of a command) and inside the range whatever rounding does.
func (p *plan) at(share float64) float64 {
	lo, hi := p.j.RangeDeg[0], p.j.RangeDeg[1]
	return p.clip((lo+hi)/2 + share*(hi-lo))
}

func (p *plan) width() float64 { return p.j.RangeDeg[1] - p.j.RangeDeg[0] }

// rate lowers a rate to what the servo can follow.
func (p *plan) rate(degPerS float64) float64 {
	for _, r := range p.j.Servo.Rated {
		degPerS = min(degPerS, speedShare*r.NoLoadDegPerS/p.j.Ratio())
	}
	return degPerS
}

func (p *plan) add(kind MoveKind, target, rate float64, dwell time.Duration) {
	p.moves = append(p.moves, Move{kind, target, p.rate(rate), dwell})
}

func (p *plan) toFirst() { p.add(MoveSettle, p.at(-beyond), slowDegPerS, restDwell) }

func (p *plan) stair(cycles int) { p.stairs(cycles, stairDwell) }

func (p *plan) stairs(cycles int, dwell time.Duration) {
	for range cycles {
		for _, s := range stops() {
			p.add(MoveStair, p.at(s), stairDegPerS, dwell)
		}
		p.add(MoveTurn, p.at(beyond), stairDegPerS, turnDwell)
		for _, s := range slices.Backward(stops()) {
			p.add(MoveStair, p.at(s), stairDegPerS, dwell)
		}
		p.add(MoveTurn, p.at(-beyond), stairDegPerS, turnDwell)
	}
}

func (p *plan) ramp(cycles int, degPerS float64) {
	degPerS = min(degPerS, 2*beyond*p.width()/passS)
	for range cycles {
		p.add(MoveRamp, p.at(beyond), degPerS, rampDwell)
		p.add(MoveRamp, p.at(-beyond), degPerS, rampDwell)
	}
}

func (p *plan) step(n int) {
	share := min(stepShare, stepDeg/p.width())
	for range n {
		p.moves = append(p.moves, Move{Kind: MoveStep, TargetDeg: p.at(share), Dwell: stepDwell})
		share = -share
	}
}

// aside returns how far a rest is approached from.
func (p *plan) aside() float64 { return min(asideShare*p.width(), asideDeg) }

// inside moves an angle so far into the reach of a hold that it can be approached from smaller angles.
func (p *plan) inside(a float64) float64 {
	lo, hi := p.at(-holdReach), p.at(holdReach)
	return p.clip(min(max(a, lo+p.aside()), hi-p.aside()))
}

// clip rounds an angle to the resolution of a command and keeps it in the range whatever rounding does.
func (p *plan) clip(a float64) float64 {
	return min(max(math.Round(a*1000)/1000, p.j.RangeDeg[0]), p.j.RangeDeg[1])
}

// rest goes to an angle at a rate, the last of the way slowly from smaller angles.
func (p *plan) rest(a, rate float64, dwell time.Duration) {
	p.add(MoveSettle, p.clip(a-p.aside()), min(rate, p.firstRate()), restDwell)
	p.add(MoveSettle, a, slowDegPerS, dwell)
}

// firstRate is the greatest rate of the next move: slow when it is the first of all.
func (p *plan) firstRate() float64 {
	if len(p.moves) == 0 {
		return slowDegPerS
	}
	return fastRampDegPerS
}

// shake jumps to and fro about an angle, in the order of a shift register of greatest length (Golomb,
// Shift Register Sequences; order 9, x⁹+x⁴+1, whose ones and zeros have the spectrum of chance).
func (p *plan) shake(about float64) {
	register := 1
	for _, s := range shakes {
		half := min(s.deg, p.aside()/2)
		last := -1
		for range s.bits {
			bit := register & 1
			register = register>>1 | (register^register>>4)&1<<8
			if bit == last {
				p.moves[len(p.moves)-1].Dwell += s.bit
				continue
			}
			last = bit
			p.moves = append(p.moves, Move{Kind: MoveStep, TargetDeg: p.clip(about + half*float64(2*bit-1)), Dwell: s.bit})
		}
	}
}

// heaviest returns the angle within reach at which the load's torque is greatest, the upper end
// when that is not known; lightest the one at which it is least, the middle when not known.
func (p *plan) heaviest() float64 {
	return p.byTorque(p.at(holdReach), func(a, b float64) bool { return a > b })
}
func (p *plan) lightest() float64 {
	return p.byTorque(p.at(0), func(a, b float64) bool { return a < b })
}

func (p *plan) byTorque(unknown float64, better func(a, b float64) bool) float64 {
	l := p.j.Load
	if l == nil || l.MassKg*l.LeverM == 0 {
		return unknown
	}
	lo, hi := p.at(-holdReach), p.at(holdReach)
	candidates := []float64{hi, lo}
	for quarter := -8.0; quarter <= 8; quarter++ { // |sin| is greatest or least at quarter turns from down
		if a := l.DownDeg + 90*quarter; a > lo && a < hi {
			candidates = append(candidates, a)
		}
	}
	best, bestTorque := unknown, math.NaN()
	for _, a := range candidates {
		t := math.Abs(math.Sin((a - l.DownDeg) * pi / 180))
		// Ends of equal torque are told apart by no rounding error: the first stays.
		if math.IsNaN(bestTorque) || math.Abs(t-bestTorque) > 1e-9 && better(t, bestTorque) {
			best, bestTorque = a, t
		}
	}
	return best
}

// calibrationDwell lets a reading settle well before it is averaged.
const calibrationDwell = time.Second

// CalibrationRoutine makes the routine whose stops calibrate pulses against angles and current against
// weights: 3 cycles over the stops, each reached from both sides; about 90 s.
func CalibrationRoutine(j Joint) (Routine, error) {
	p := plan{j: j}
	p.toFirst()
	p.stairs(3, calibrationDwell)
	p.add(MoveSettle, p.at(0), slowDegPerS, restDwell)
	r := Routine{Name: "calibrate", Moves: p.moves}
	return r, r.Check(j)
}
