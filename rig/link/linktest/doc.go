// Package linktest holds what tests of stands and of conversations share.
//
// Suite checks that a stand keeps firmware-protocol/SPEC.md, whatever it is made of: the ideal
// stand of this package, the virtual stand, a replayed capture, the emulated board, a real one. A new
// one is a function that dials it and a call of Suite. Stand is the ideal stand: it follows every
// command exactly and at once, has no physics, and keeps the rules of SPEC.md to the letter. Tap writes
// down what goes over a line, Play makes a stand of that. Line breaks bytes on their way, for tests of
// losses.
//
// Angles are mdeg, times us of the stand's clock, as on the wire.
package linktest
