// Package linktest holds what tests of stands and of conversations share.
//
// Suite checks that a stand keeps firmware-protocol/SPEC.md, whatever it is made of: the ideal
// stand of this package, the virtual stand, an emulated board, a real one. Stand is the ideal
// stand: it follows every command exactly and at once, has no physics, and keeps the rules of
// SPEC.md to the letter. Line breaks bytes on their way, for tests of losses.
//
// Angles are mdeg, times us of the stand's clock, as on the wire.
package linktest
