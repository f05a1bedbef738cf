// Package rig holds the words of the bench as types: the bench and its leg, the joints and what
// hangs on them, routines and their moves, samples and the series made of them. It also reads
// bench.toml, the one place where a builder describes the stand, and calibrations, which hold what a
// joint's sensors and servo were found to be and are applied to series, never to samples.
//
// Units are in the names. Angles are degrees, torque is N·m, time is seconds or integer
// microseconds since the stand's power-up, current is A, voltage is V. Integer columns carry the
// unit that makes them exact: mdeg, mA, mV, mN·m, 0.01 °C.
//
// The package is pure: it opens no port, starts no goroutine, and knows nothing of verdicts.
package rig
