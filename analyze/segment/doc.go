// Package segment splits a run into moves, stops, passes, steps and holds, from the marks of the
// log or, where there are none, from the command alone.
//
// Angles are deg, time is s. Everything refers to samples by index, half open: [From, To).
// A *travel* is a stretch in which the command changes, a *dwell* one in which it rests. The
// command of a servo is a stair of small steps (one per pulse frame), so rests shorter than a few
// frames belong to the travel around them.
package segment
