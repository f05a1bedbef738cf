package sensor

import (
	"math"

	"limbgauge/rig"
)

// Thresholds of Against [common practice].
const (
	senseTravel = 20.0 // of command in all, deg, for an answer
	senseShare  = 0.8  // of that travel
)

// Against reports whether an angle turns against the command, as that of a sensor which counts the other
// way: over most of the command's travel, in the pieces of rig.Ways, the angle (deg) went at least half as
// far the other way. travel is the command's in the pieces that say something, deg.
func Against(time, angle, command []float64) (travel float64, against bool) {
	if len(angle) == 0 {
		return 0, false
	}
	way := 0.0
	var ways rig.Ways
	for i, t := range time {
		if math.IsNaN(command[i]) {
			continue
		}
		w := ways.Take(t, command[i], angle[i])
		travel += w.Deg
		if w.Against {
			way += w.Deg
		}
	}
	return travel, travel >= senseTravel && way >= senseShare*travel
}
