// Package positioning judges how a joint comes to rest: ISO 230-2 bidirectional positioning and
// ISO 9283 pose repeatability, from the stops of a stair.
//
// Angles are deg. A stop is one dwell: its deviation is already averaged over the settled part.
// The figures are the same in any unit, so the checks against records in mm use them as they are.
//
// The unit of replication is the cycle: one visit of every target in both directions. A cycle may
// miss stops. Source of the formulas: ISO 230-2:2014, clause 3, and ISO 9283:1998, clause 7.2,
// from memory, held against a public acceptance record in the tests.
package positioning
