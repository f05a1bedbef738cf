package friction

import (
	"fmt"
	"math"
	"sort"

	"limbgauge/analyze/stats"
)

// Pass is one travel at constant speed in one direction.
type Pass struct {
	Dir    int       // +1 for rising angle
	Cycle  int       // a pass up and a pass down of one cycle belong together
	Angle  []float64 // deg
	Torque []float64 // N·m, positive where it drives to greater angles; NaN is not measured
}

// Bin is what was found around one angle.
type Bin struct {
	Angle    float64        // deg, middle of the bin
	Friction stats.Estimate // N·m, half the difference of both directions, over cycles
	Load     stats.Estimate // N·m, half the sum: gravity, cable and offset
	Cycles   int
}

// Profile is friction by place.
type Profile struct {
	BinDeg float64
	Bins   []Bin
	Cycles int
	// Level is the friction of the joint away from tight spots: the median over the bins of each
	// cycle, averaged over the cycles.
	Level stats.Estimate

	up, down [][]float64 // bin means by cycle and bin
}

// minBin is the least number of samples that make a bin's mean.
const minBin = 3

// NewProfile sorts passes at one speed into bins of binDeg (2 to 5 deg are usual) and splits friction
// from load by the half difference and half sum of both directions. It is an error when no cycle has
// a pass each way: with one direction only, friction and load merge.
func NewProfile(passes []Pass, binDeg float64) (Profile, error) {
	lo, hi := math.Inf(1), math.Inf(-1)
	dirs := map[int][2]bool{}
	for _, p := range passes {
		d := dirs[p.Cycle]
		d[side(p.Dir)] = true
		dirs[p.Cycle] = d
		for _, a := range p.Angle {
			if !math.IsNaN(a) {
				lo, hi = math.Min(lo, a), math.Max(hi, a)
			}
		}
	}
	var cycles []int
	for c, d := range dirs {
		if d[0] && d[1] {
			cycles = append(cycles, c)
		}
	}
	sort.Ints(cycles)
	if len(cycles) == 0 || !(hi > lo) {
		return Profile{}, fmt.Errorf("friction by angle: no cycle moved both ways, so friction and load cannot be told apart: %w", stats.ErrTooFew)
	}
	first := math.Floor(lo / binDeg)
	n := int(math.Floor(hi/binDeg)-first) + 1
	p := Profile{BinDeg: binDeg, Cycles: len(cycles)}
	for _, c := range cycles {
		p.up = append(p.up, binned(passes, c, 0, first, n, binDeg))
		p.down = append(p.down, binned(passes, c, 1, first, n, binDeg))
	}
	levels := make([]float64, len(cycles))
	for c := range cycles {
		var f []float64
		for b := range n {
			f = append(f, (p.up[c][b]-p.down[c][b])/2)
		}
		levels[c] = stats.Median(f)
	}
	p.Level = stats.MeanOf(levels)
	for b := range n {
		p.Bins = append(p.Bins, p.bin(b, (first+float64(b)+0.5)*binDeg))
	}
	return p, nil
}

// Highest returns the most by which friction stands above the level anywhere, with the expanded
// uncertainty of that bin, N·m: no tight spot is higher.
func (p Profile) Highest() float64 {
	most := 0.0
	for _, b := range p.Bins {
		if b.Friction.Seen() {
			most = math.Max(most, b.Friction.Value+zeroIfNaN(b.Friction.Expanded())-p.Level.Value)
		}
	}
	return most
}

func zeroIfNaN(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}

func (p Profile) bin(b int, angle float64) Bin {
	var f, l []float64
	for c := range p.up {
		fc, lc := Halves(p.up[c][b], p.down[c][b])
		if !math.IsNaN(fc) {
			f, l = append(f, fc), append(l, lc)
		}
	}
	out := Bin{Angle: angle, Friction: stats.MeanOf(f), Load: stats.MeanOf(l), Cycles: len(f)}
	if len(f) == 0 {
		out.Friction = stats.Unseen("no cycle passed here both ways")
		out.Load = out.Friction
	}
	return out
}

func binned(passes []Pass, cycle, d int, first float64, n int, binDeg float64) []float64 {
	sum, count := make([]float64, n), make([]float64, n)
	for _, p := range passes {
		if p.Cycle != cycle || side(p.Dir) != d {
			continue
		}
		for i, a := range p.Angle {
			if b := int(math.Floor(a/binDeg) - first); !math.IsNaN(a) && !math.IsNaN(p.Torque[i]) {
				sum[b], count[b] = sum[b]+p.Torque[i], count[b]+1
			}
		}
	}
	for b := range sum {
		if sum[b] /= count[b]; count[b] < minBin {
			sum[b] = math.NaN()
		}
	}
	return sum
}

func side(dir int) int {
	if dir > 0 {
		return 0
	}
	return 1
}
