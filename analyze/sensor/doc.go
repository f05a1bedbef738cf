// Package sensor looks at the readings of a sensor for what no joint can do: turns that are missing
// or too many, readings that jump away and back, a value that stands still while the joint moves,
// scatter, times that were not taken where the sample was.
//
// Angles are deg, time is s. NaN is a reading that was not taken; nothing is concluded from it. What
// is found here is found before anything is computed from the readings: a figure that rests on a
// broken sensor is worse than none. The thresholds have no published source; they are common practice.
package sensor
