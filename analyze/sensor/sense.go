package sensor

import "math"

// Thresholds of FindSense [common practice].
const (
	senseEveryS   = 0.25 // between readings that are compared: long against a servo's delay
	senseWayDeg   = 2.0  // of command between them
	senseTravel   = 20.0 // of command in all, deg, for an answer
	senseShare    = 0.8  // of that travel
	senseFollowed = 0.5  // of the command's way
)

// Against reports whether an angle turns against the command, as that of a sensor which counts the other
// way: over most of the command's travel, in pieces of a quarter of a second, the angle (deg) went at
// least half as far the other way. travel is the command's in the pieces that say something, deg.
func Against(time, angle, command []float64) (travel float64, against bool) {
	if len(angle) == 0 {
		return 0, false
	}
	way, last := 0.0, -1
	for i, t := range time {
		if last >= 0 && t-time[last] < senseEveryS || math.IsNaN(angle[i]) || math.IsNaN(command[i]) {
			continue
		}
		if last < 0 {
			last = i
			continue
		}
		asked, came := command[i]-command[last], angle[i]-angle[last]
		last = i
		if math.Abs(asked) < senseWayDeg {
			continue
		}
		travel += math.Abs(asked)
		if came/asked <= -senseFollowed {
			way += math.Abs(asked)
		}
	}
	return travel, travel >= senseTravel && way >= senseShare*travel
}
