package segment

import (
	"math"
	"slices"
	"sort"

	"limbgauge/analyze/stats"
	"limbgauge/rig"
)

// Piece is one travel and the dwell after it; together they are what a routine calls a move.
// The first piece of a run may have an empty travel.
type Piece struct {
	Kind     rig.MoveKind
	Travel   [2]int  // samples in which the command changes
	Dwell    [2]int  // samples after it in which the command rests
	FromDeg  float64 // command before the travel
	ToDeg    float64 // command in the dwell
	Rate     float64 // deg/s over the travel; +Inf for a step, 0 for a shake
	TravelS  float64
	DwellS   float64
	Inferred bool // the kind was told from the command, not from a mark
	Shake    bool // the travel is a shake: many small jumps to and fro
}

// Dir returns the direction of the travel: +1, -1, or 0 when there was none.
func (p Piece) Dir() int { return int(stats.Sign(p.ToDeg - p.FromDeg)) }

const (
	// frameGapS is the longest rest of the command inside a travel: some frames of a slow servo
	// (20 ms each), so that a stair of pulse steps counts as one motion.
	frameGapS = 0.07
	// stepS is the longest travel that still is a jump.
	stepS = 0.03
	// stepDeg is the least jump that is called a step; smaller ones are a servo's own resolution.
	stepDeg = 3.0
	// holdS is the shortest dwell that is called a hold.
	holdS = 8.0
	// rampS is the shortest travel at constant speed that is called a ramp.
	rampS = 2.0
)

// Split cuts a run at the places where its command starts and stops. time and command have the
// same length; marks may be nil. A command that was not logged for a sample (NaN) is taken to be the
// one before.
func Split(time, command []float64, marks []rig.MoveKind) []Piece {
	command = filled(command)
	moving := travels(time, command)
	shakes := Shakes(time, command)
	for _, s := range shakes {
		for i := s[0]; i < s[1]; i++ {
			moving[i] = true
		}
	}
	var pieces []Piece
	n := len(command)
	for i := 0; i < n; {
		p := Piece{Travel: [2]int{i, i}, FromDeg: command[i]}
		if i > 0 {
			p.FromDeg = command[i-1]
		}
		for i < n && moving[i] {
			i++
		}
		p.Travel[1] = i
		p.Dwell[0] = i
		for i < n && !moving[i] {
			i++
		}
		p.Dwell[1] = i
		p.ToDeg = command[max(p.Travel[1]-1, 0)]
		if p.Dwell[1] > p.Dwell[0] {
			p.ToDeg = command[p.Dwell[0]]
			p.DwellS = time[p.Dwell[1]-1] - time[p.Dwell[0]]
		}
		if p.Travel[1] > p.Travel[0] {
			p.TravelS = time[p.Travel[1]-1] - time[max(p.Travel[0]-1, 0)]
			p.Rate = math.Inf(1)
			if p.TravelS > stepS {
				p.Rate = math.Abs(p.ToDeg-p.FromDeg) / p.TravelS
			}
		}
		p.Shake = len(shakes) > 0 && p.Travel[0] <= shakes[0][0] && shakes[0][1] <= p.Travel[1]
		if p.Shake {
			p.Rate, shakes = 0, shakes[1:]
		}
		pieces = append(pieces, p)
	}
	infer(pieces)
	for i := range pieces {
		if k := marked(pieces[i], marks); k != rig.MoveNone {
			pieces[i].Kind, pieces[i].Inferred = k, false
		}
	}
	return pieces
}

// filled replaces what is missing by the value before it, at the start by the first there is.
func filled(x []float64) []float64 {
	if !slices.ContainsFunc(x, math.IsNaN) {
		return x
	}
	out := slices.Clone(x)
	last := math.NaN()
	for _, v := range x {
		if !math.IsNaN(v) {
			last = v
			break
		}
	}
	for i, v := range out {
		if math.IsNaN(v) {
			out[i] = last
		} else {
			last = v
		}
	}
	return out
}

// travels marks the samples in which the command changes, bridging rests shorter than frameGapS.
func travels(time, command []float64) []bool {
	moving := make([]bool, len(command))
	last := -1
	for i := 1; i < len(command); i++ {
		if command[i] == command[i-1] || math.IsNaN(command[i]) { // all NaN: nothing was commanded
			continue
		}
		moving[i] = true
		if last >= 0 && time[i]-time[last] < frameGapS {
			for k := last; k < i; k++ {
				moving[k] = true
			}
		}
		last = i
	}
	return moving
}

// infer tells the kind of each piece from its shape. A stair is what dwells equally long at
// angles that come back; a ramp is a long slow travel; a step a jump; a hold a long dwell.
func infer(pieces []Piece) {
	dwell := commonDwell(pieces)
	for i := range pieces {
		p := &pieces[i]
		p.Kind, p.Inferred = rig.MoveSettle, true
		switch {
		case p.Shake:
			p.Kind = rig.MoveStep
		case math.IsInf(p.Rate, 1) && math.Abs(p.ToDeg-p.FromDeg) >= stepDeg:
			p.Kind = rig.MoveStep
		case p.DwellS >= holdS:
			p.Kind = rig.MoveHold
		case p.TravelS >= rampS:
			p.Kind = rig.MoveRamp
		case dwell > 0 && p.TravelS > 0 && math.Abs(p.DwellS-dwell) <= 0.08*dwell+0.012:
			p.Kind = rig.MoveStair
		case dwell > 0 && p.DwellS < dwell && p.DwellS > 0.1 && i > 0 && i+1 < len(pieces) &&
			pieces[i+1].Dir() == -p.Dir():
			p.Kind = rig.MoveTurn
		}
	}
}

// commonDwell returns the dwell time that most pieces share, 0 when no eight of them do.
func commonDwell(pieces []Piece) float64 {
	var d []float64
	for _, p := range pieces {
		if p.TravelS > 0 && p.DwellS >= 0.15 && p.DwellS < holdS && !math.IsInf(p.Rate, 1) && p.TravelS < rampS {
			d = append(d, p.DwellS)
		}
	}
	sort.Float64s(d)
	best, at := 0, 0.0
	for i := range d {
		k := i
		for k < len(d) && d[k] <= d[i]*1.08+0.012 {
			k++
		}
		if k-i > best {
			best, at = k-i, d[(i+k)/2]
		}
	}
	if best < 8 {
		return 0
	}
	return at
}

// marked returns the mark that covers most of the piece's dwell, or of its travel when it has no
// dwell worth the name. A stair's last travel may still carry the mark of the move before it.
func marked(p Piece, marks []rig.MoveKind) rig.MoveKind {
	if marks == nil {
		return rig.MoveNone
	}
	from, to := p.Dwell[0], p.Dwell[1]
	if p.Dwell[1]-p.Dwell[0] < p.Travel[1]-p.Travel[0] {
		from, to = p.Travel[0], p.Travel[1]
	}
	var count [256]int // by kind
	best := rig.MoveNone
	for i := from; i < to; {
		k := i + 1
		for k < to && marks[k] == marks[i] {
			k++
		}
		if count[marks[i]] += k - i; count[marks[i]] > count[best] {
			best = marks[i]
		}
		i = k
	}
	return best
}
