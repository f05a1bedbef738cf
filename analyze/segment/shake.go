package segment

import "math"

const (
	// shakeDeg is the least jump of a shaken command: well above a pulse's resolution.
	shakeDeg = 0.5
	// shakeGapS is the longest rest within a shake.
	shakeGapS = 1.15
	// shakeJumps is how many jumps to and fro make a shake; fewer are steps.
	shakeJumps = 40
)

// Shakes returns the stretches in which the command jumps to and fro, each jump against the one
// before, many times with short rests: what a routine does to excite the joint over all frequencies.
// A stretch runs from its first jump to the sample after its last.
func Shakes(time, command []float64) (out [][2]int) {
	first, last, n, dir := -1, -1, 0, 0.0
	end := func() {
		if n >= shakeJumps {
			out = append(out, [2]int{first, last + 1})
		}
		first, n = -1, 0
	}
	for i := 1; i < len(command); i++ {
		d := command[i] - command[i-1]
		if !(math.Abs(d) >= shakeDeg) {
			continue
		}
		if first >= 0 && (d*dir > 0 || time[i]-time[last] > shakeGapS) {
			end()
		}
		if first < 0 {
			first = i
		}
		last, dir = i, d
		n++
	}
	end()
	return out
}
