package budget

import "math"

// Support is how the weight falls on the legs that stand.
type Support struct {
	Share float64 // of the leg that carries most
	Leg   int     // which one, from 1; 0 when the places of the hips are not known
	Set   []int   // the legs that stand then, from 1
	// Uneven is the share when any three of the standing legs may have to carry all; NaN where it is not told.
	Uneven float64
	// OutM is how far the centre of mass lies beyond the support at worst: above 0 the robot tips.
	OutM float64
	// Line is true with two legs: they support a line, and only motion keeps a robot on it.
	Line bool
	How  string
}

const directions = 16 // of a slope that are tried

// support finds the leg that carries most over the sets of legs that stand, the places of the body
// within a step, and the directions of the slope.
func (s Setup) support() Support {
	n := s.Stance
	if len(s.Hips) == 0 || n == 1 {
		return Support{Share: 1 / float64(n), Uneven: math.NaN(), Line: n == 2,
			How: "the load is shared equally: hips_m is not stated, so the centre of mass is taken above the middle of the feet"}
	}
	worst := Support{Share: -1, Uneven: -1, Line: n == 2, How: "statics of the body over the feet that stand"}
	if n > 3 {
		worst.How = "statics of a stiff body on legs that give alike (least squares of the forces)"
	}
	for _, set := range s.sets() {
		s.each(set, func(feet []Point, at Point) {
			shares, out := Shares(feet, at)
			if n == 2 { // off the line it falls, slowly, whatever the shares
				out = 0
			}
			worst.OutM = math.Max(worst.OutM, out)
			for i, share := range shares {
				if share > worst.Share+1e-12 {
					worst.Share, worst.Leg, worst.Set = share, set[i]+1, plusOne(set)
				}
			}
			if u := WorstShare(feet, at); n > 3 && u > worst.Uneven {
				worst.Uneven = u
			}
		})
	}
	if worst.Uneven < 0 {
		worst.Uneven = math.NaN()
	}
	return worst
}

func mid(r [2]float64) float64 { return (r[0] + r[1]) / 2 }

func plusOne(set []int) []int {
	out := make([]int, len(set))
	for i, k := range set {
		out[i] = k + 1
	}
	return out
}

// foot returns where the foot of a leg stands when the body is ahead of the middle of its step.
// Legs point to the side they are on, those on the middle line forward or back.
func (s Setup) foot(i int, reach, ahead float64) Point {
	h := s.Hips[i]
	switch {
	case h[1] > 0:
		return Point{h[0] - ahead, h[1] + reach}
	case h[1] < 0:
		return Point{h[0] - ahead, h[1] - reach}
	case h[0] < 0:
		return Point{h[0] - reach - ahead, h[1]}
	}
	return Point{h[0] + reach - ahead, h[1]}
}

// sets returns which legs stand together: all; all but one in turn; those of the alternating gait
// where half of an even number stand, which takes legs by turns along each side, the two sides
// opposed; else every set.
func (s Setup) sets() [][]int {
	n, all := s.Stance, len(s.Hips)
	if 2*n == all {
		if a, b, ok := s.alternating(); ok {
			return [][]int{a, b}
		}
	}
	var out [][]int
	var pick func(from int, set []int)
	pick = func(from int, set []int) {
		if len(set) == n {
			out = append(out, append([]int(nil), set...))
			return
		}
		for i := from; i < all; i++ {
			pick(i+1, append(set, i))
		}
	}
	pick(0, nil)
	if n >= all-1 {
		return out
	}
	// A gait with a choice of sets takes those that stand the whole step through; where none does,
	// those that come nearest to it.
	least := math.Inf(1)
	var stand [][]int
	for _, set := range out {
		far := 0.0
		s.each(set, func(feet []Point, at Point) {
			_, o := held(feet, at)
			far = math.Max(far, o)
		})
		if far < least-tipSlack {
			least, stand = far, nil
		}
		if far <= least+tipSlack {
			stand = append(stand, set)
		}
	}
	return stand
}

// each calls f for every place of the body within a step and every direction of the slope: where the
// feet of a set stand, and where the weight acts.
func (s Setup) each(set []int, f func(feet []Point, at Point)) {
	reach, down := mid(s.Space.ReachM), (mid(s.Space.HeightM)+s.ComHeightM)*math.Tan(s.Slope)
	for _, ahead := range []float64{-0.5, 0, 0.5} {
		var feet []Point
		for _, i := range set {
			feet = append(feet, s.foot(i, reach, ahead*s.StepM))
		}
		for d := range directions {
			a := 2 * math.Pi * float64(d) / directions
			f(feet, Point{s.Com[0] + down*math.Cos(a), s.Com[1] + down*math.Sin(a)})
			if s.Slope == 0 {
				break
			}
		}
	}
}

// alternating splits the legs in two sets, by turns along each side from the front.
func (s Setup) alternating() (a, b []int, ok bool) {
	var left, right []int
	for i, h := range s.Hips {
		switch {
		case h[1] > 0:
			left = append(left, i)
		case h[1] < 0:
			right = append(right, i)
		default:
			return nil, nil, false
		}
	}
	if len(left) != len(right) {
		return nil, nil, false
	}
	for side, legs := range [][]int{left, right} {
		byFront(legs, s.Hips)
		for k, i := range legs {
			if (k+side)%2 == 0 {
				a = append(a, i)
			} else {
				b = append(b, i)
			}
		}
	}
	return a, b, len(a) == s.Stance
}

func byFront(legs []int, hips []Point) {
	for i := range legs {
		for k := i; k > 0 && hips[legs[k]][0] > hips[legs[k-1]][0]; k-- {
			legs[k], legs[k-1] = legs[k-1], legs[k]
		}
	}
}
