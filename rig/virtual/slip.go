package virtual

import (
	"math"
	"slices"
)

// slips is the lasting angle between motor side and joint, joint side, rad: horn and belt together.
type slips struct {
	offset, rate float64
	due          []slip
	going        []ramp
	tooth        float64 // one tooth at the joint, rad
	skipBase     float64
	skipPer      float64
	holdNm       float64
	yield        float64
	restS        float64 // until another tooth may skip
}

type slip struct {
	atS, size float64
	along     bool
}

// ramp is a slip under way.
type ramp struct{ size, passedS float64 }

const (
	// slipS is how long a slip takes. Real ones are as fast as the load falls; here the size is what
	// counts, so the way is given, smooth at both ends lest the jolt tears the next tooth off.
	slipS = 0.080
	skipS = 0.200 // and the belt needs this long before the next tooth
)

func newSlips(t *Truth) slips {
	ratio := 1.0
	if t.Belt != nil {
		ratio = t.Belt.Ratio
	}
	s := slips{offset: t.Horn.OffsetDeg * rad / ratio, holdNm: t.Horn.HoldNm, yield: t.Horn.SlipDegPerNmS * rad / ratio}
	for _, e := range t.Horn.Slips {
		s.due = append(s.due, slip{e.AtS, e.Deg * rad / ratio, e.AlongLoad})
	}
	if b := t.Belt; b != nil {
		s.tooth = 2 * math.Pi / (float64(b.Teeth) * b.Ratio)
		s.offset += b.OffsetTeeth * s.tooth
		s.skipBase, s.skipPer = b.SkipBaseN, b.SkipPerN
		for _, e := range b.Skips {
			s.due = append(s.due, slip{e.AtS, e.Deg * s.tooth, e.AlongLoad})
		}
	}
	slices.SortFunc(s.due, func(a, b slip) int {
		switch {
		case a.atS < b.atS:
			return -1
		case a.atS > b.atS:
			return 1
		}
		return 0
	})
	return s
}

func (s *slips) begin(size float64) {
	s.going = append(s.going, ramp{size: size})
	s.restS = skipS
}

// advance begins what is due and what the torque enforces, for the coming slowDT.
func (s *slips) advance(p *plant, armedS float64) {
	for len(s.due) > 0 && armedS >= 0 && armedS >= s.due[0].atS {
		e := s.due[0]
		s.due = s.due[1:]
		if e.along {
			e.size = math.Abs(e.size) * p.pull()
		}
		s.begin(e.size)
	}
	if s.restS > 0 {
		s.restS -= slowDT
	} else if s.tooth > 0 && s.skipBase+s.skipPer > 0 {
		// The teeth ride up when the pull is more than tension and tooth form hold down.
		if math.Abs(p.torque)/p.trans.radius > s.skipBase+s.skipPer*p.tension {
			s.begin(-math.Copysign(s.tooth, p.torque))
		}
	}
	s.rate = 0
	if shaft := math.Abs(p.torque) * p.invRatio; s.yield > 0 && shaft > s.holdNm {
		s.rate -= math.Copysign(s.yield*(shaft-s.holdNm), p.torque)
	}
	keep := s.going[:0]
	for _, r := range s.going {
		// The mean over slowDT of a rate of size/slipS·(1 - cos), so that the sum is the size exactly.
		way := func(at float64) float64 { return at - slipS/(2*math.Pi)*math.Sin(2*math.Pi*at/slipS) }
		next := math.Min(r.passedS+slowDT, slipS)
		s.rate += r.size / slipS * (way(next) - way(r.passedS)) / slowDT
		if r.passedS = next; next < slipS {
			keep = append(keep, r)
		}
	}
	s.going = keep
}
