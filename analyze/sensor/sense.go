package sensor

import "math"

// Thresholds of Against [common practice].
const (
	senseEveryS   = 0.25 // between readings that are compared: longer than a servo lags
	senseWayDeg   = 2.0  // of command between them
	senseTravel   = 20.0 // of command in all, deg, for an answer
	senseShare    = 0.8  // of that travel
	senseFollowed = 0.5  // of the command's way
	senseStraight = 0.9  // of the command's way, turns taken off
)

// Against reports whether an angle turns against the command, as that of a sensor which counts the other
// way: over most of the command's travel, in pieces of a quarter of a second, the angle (deg) went at
// least half as far the other way. A piece says something when the command went one way through it and
// through the one before: where it swings faster than that, an angle that merely lags goes the other way
// too. travel is the command's in the pieces that say something, deg.
func Against(time, angle, command []float64) (travel float64, against bool) {
	if len(angle) == 0 {
		return 0, false
	}
	way, last := 0.0, -1
	var net, gone [2]float64 // of the command in this piece and the one before
	at := math.NaN()         // where the command was
	for i, t := range time {
		c := command[i]
		if math.IsNaN(c) {
			continue
		}
		if d := c - at; !math.IsNaN(d) {
			net[0], gone[0] = net[0]+d, gone[0]+math.Abs(d)
		}
		at = c
		if last >= 0 && t-time[last] < senseEveryS || math.IsNaN(angle[i]) {
			continue
		}
		if last >= 0 && math.Abs(net[0]) >= senseWayDeg && math.Abs(net[1]) >= senseWayDeg && math.Abs(net[0]+net[1]) >= senseStraight*(gone[0]+gone[1]) {
			travel += math.Abs(net[0])
			if (angle[i]-angle[last])/net[0] <= -senseFollowed {
				way += math.Abs(net[0])
			}
		}
		net, gone = [2]float64{0, net[0]}, [2]float64{0, gone[0]}
		last = i
	}
	return travel, travel >= senseTravel && way >= senseShare*travel
}
