package record

import (
	"math"
	"slices"

	"limbgauge/rig"
)

// Travel of a joint is the sum of its ways from one turn of direction to the next, in deg. A turn
// counts once the joint has come back from it by more than a gate that neither the encoder's steps
// nor its noise reach: a joint at rest travels nothing, while a sweep is counted from end to end. For
// a motion up by A and down by A, n times:
//
//	travel 2·n·A, reversals 2·n - 1
//
// The angle is the median of three readings in a row, so that a single wild one does not count. Noise
// adds to a turn what it stands out of it, which is less than half a gate. Motions smaller than the
// gate do not count, nor those in gaps: the way across one is taken to be straight. Samples are as the
// stand sent them, without calibration.
//
// Ringing after a stop is travel: the joint does turn. Turning points with a gate are the first step of counting rainflow cycles (ASTM E1049-85, 5.4).

// A gate stands above both [common practice].
const (
	gateSteps = 2.5 // steps of the encoder: each of two readings may be off by one
	gateSigma = 10  // standard deviations of the noise: ten million normal values stay within 5.3 of them to each side
)

// seenShare is the share of samples that need an angle for a joint's travel to be known
// [common practice].
const seenShare = 0.9

// observe fills in what sealing finds in the samples. It panics when the joints do not match.
func (i *Info) observe(batches []*rig.Batch) {
	for k, b := range batches {
		j := &i.Joints[k]
		j.TravelDeg, j.Reversals, j.SupplyRestV = nil, nil, nil
		if deg, turns, ok := travel(b, j.Setup); ok {
			j.TravelDeg, j.Reversals = &deg, &turns
		}
		if v, ok := restVoltage(b); ok {
			j.SupplyRestV = &v
		}
	}
}

// travel returns how far a joint went, in deg, and how often it turned. ok is false where its angle
// was not seen. Without an angle of the joint the motor side's serves, over the ratio of the belt.
func travel(b *rig.Batch, setup rig.Joint) (deg float64, turns int, ok bool) {
	angle, counts, ratio := b.Angle, setup.Sensors.JointCounts, 1.0
	if !mostlySeen(angle) {
		angle, counts, ratio = b.Motor, setup.Sensors.MotorCounts, setup.Ratio()
	}
	if !mostlySeen(angle) {
		return 0, 0, false
	}
	seen := slices.DeleteFunc(slices.Clone(angle), func(v int32) bool { return v == rig.Missing })
	mdeg, turns := turning(seen, math.Max(gateSteps*encoderStep(seen, counts), gateSigma*encoderNoise(seen)))
	return math.Round(mdeg/ratio) / 1000, turns, true
}

func mostlySeen(col []int32) bool {
	n := 0
	for _, v := range col {
		if v != rig.Missing {
			n++
		}
	}
	return n > 2 && float64(n) >= seenShare*float64(len(col))
}

// turning adds up the ways between turns of more than a gate, all in the unit of x, which holds three
// readings or more.
func turning(x []int32, gate float64) (way float64, turns int) {
	var from, to float64 // the last turn, and the farthest place since
	lo, hi := math.Inf(1), math.Inf(-1)
	sense := 0.0 // +1 up, -1 down; 0 until the joint has left its first place
	for i := 1; i+1 < len(x); i++ {
		v := float64(median3(x[i-1], x[i], x[i+1]))
		switch {
		case sense == 0:
			lo, hi = min(lo, v), max(hi, v)
			if v-lo > gate {
				sense, from, to = 1, lo, v
			} else if hi-v > gate {
				sense, from, to = -1, hi, v
			}
		case sense*(v-to) >= 0:
			to = v
		case sense*(to-v) > gate:
			way += math.Abs(to - from)
			sense, from, to = -sense, to, v
			turns++
		}
	}
	return way + math.Abs(to-from), turns
}

func median3(a, b, c int32) int32 { return max(min(a, b), min(max(a, b), c)) }

// encoderStep returns the step of an angle in mdeg: what the set-up states, and no less than the
// smallest one seen.
func encoderStep(x []int32, counts int) float64 {
	smallest := int32(0)
	for i := 1; i < len(x); i++ {
		if d := max(x[i], x[i-1]) - min(x[i], x[i-1]); d > 0 && (d < smallest || smallest == 0) {
			smallest = d
		}
	}
	if counts > 0 {
		return max(360_000/float64(counts), float64(smallest))
	}
	return float64(smallest)
}

// Second differences of white noise have six times its variance, and steady motion has none. Their
// greatest 5 % are left out, as the joint may have been accelerated there; of a normal law that leaves
// keptSquare of the mean square: (0.95 - 2·1.96·φ(1.96)) / 0.95.
const (
	keptShare  = 0.95
	keptSquare = 0.7588
)

// encoderNoise returns the standard deviation of the noise of an angle, in its own unit.
func encoderNoise(x []int32) float64 {
	every := 1 + len(x)/enough
	var squares []float64
	for i := 1; i+1 < len(x); i += every {
		d := float64(x[i-1]) - 2*float64(x[i]) + float64(x[i+1])
		squares = append(squares, d*d)
	}
	slices.Sort(squares)
	squares = squares[:int(math.Ceil(keptShare*float64(len(squares))))]
	sum := 0.0
	for _, s := range squares {
		sum += s
	}
	return math.Sqrt(sum / float64(len(squares)) / keptSquare / 6)
}

// enough is how many readings, spread over the run, say how a column scatters.
const enough = 100_000

// leastDraw is the share of samples with the least current that are taken to be at rest, and
// upperQuarter the share of voltages that lie above that at rest where no current is seen
// [common practice].
const (
	leastDraw    = 0.1
	upperQuarter = 0.25
)

// restVoltage returns the supply voltage while the servo drew the least, in V: the median over the
// tenth of the samples with the least current. Where no current is seen it is the upper quartile of
// all. ok is false where the voltage is not seen.
func restVoltage(b *rig.Batch) (volts float64, ok bool) {
	var all, current, idle []int32
	every := 1 + b.Len()/enough
	for i := 0; i < b.Len(); i += every {
		if b.Supply[i] != rig.Missing {
			all = append(all, b.Supply[i])
			if b.Current[i] != rig.Missing {
				current = append(current, b.Current[i])
			}
		}
	}
	if len(all) == 0 {
		return 0, false
	}
	if len(current) == 0 {
		return shareOf(all, 1-upperQuarter) / 1000, true
	}
	least := shareOf(current, leastDraw)
	for i := 0; i < b.Len(); i += every {
		if b.Supply[i] != rig.Missing && b.Current[i] != rig.Missing && float64(b.Current[i]) <= least {
			idle = append(idle, b.Supply[i])
		}
	}
	return shareOf(idle, 0.5) / 1000, true
}

// shareOf returns the value below which a share of the values lies. It sorts them.
func shareOf(x []int32, share float64) float64 {
	slices.Sort(x)
	return float64(x[int(share*float64(len(x)-1))])
}
