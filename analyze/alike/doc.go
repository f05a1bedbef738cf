// Package alike answers whether figures of two runs may be set beside each other, and brings one to
// the other's conditions where a law is known. Which measure hangs on what is a table (Table), one row
// a measure; nothing else in the program decides it.
//
// Angles are deg, torques N·m, voltages V, temperatures °C, uncertainties expanded, 95 % coverage.
//
// Sources: torque and speed of a motor scale with its voltage, and its current with torque (any text
// on DC motors; package drive); strain of a plastic under small stress is proportional to it, at any
// time (linear viscoelasticity: Findley, Lai, Onaran 1976); a mass on a spring swings with √(k/J).
// From where on conditions differ is common practice, each threshold has its name.
package alike
