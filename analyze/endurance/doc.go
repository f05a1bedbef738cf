// Package endurance decides when an endurance test of a joint has to end: by what is asked for, by what
// the samples show while it moves, and by what the check sweeps between say. It moves nothing and
// reads no files.
//
// The rules are one table, see Rules. Angles are deg, currents A, times s of the stand's clock.
package endurance
