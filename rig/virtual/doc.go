// Package virtual is a stand made of physics behind the same bytes as a real one. It is there to
// learn and to demonstrate with, and to try a host against a stand that does what it is told.
//
// It proves nothing about the analysis: plant and analysis come from the same heads, so a shared
// mistake would pass unseen. Proof stands on published data and closed forms.
//
// # The plant
//
// A World is some joints on one supply. Each joint is three bodies in a row, all turning:
//
//	drive (motor and gears)  --play, mesh-->  horn and motor-side pulley  --belt, part-->  joint and load
//	angle φ, controller                       angle h, motor-side sensor                  angle θ, joint sensor
//
// The servo steers φ to the pulse it gets, with dead band, full voltage beyond a few degrees of
// error, back-EMF and gear friction. The horn may slip on its shaft. The belt has two spans with
// pretension; a span never pushes. The part that carries it bends, creeps, and lets tension go. The
// joint has friction, perhaps a tight spot, and a hanging load. What each joint really is stands in
// its Truth; Healthy makes one from bench.toml's entry, WithFault spoils it, Faults spoil it over
// weeks.
//
// The same Truth, seed and moves give the same samples, bit for bit. Integration is semi-implicit
// Euler with a fixed step of StepUS, which keeps the energy of undamped springs bounded; friction is
// a bristle (elastic to a fiftieth of a degree, then sliding), so that a joint at rest stays at rest.
//
// # The stand
//
// A stand speaks the frames of firmware-protocol/SPEC.md over any byte stream (Serve, Pipe, ServePTY),
// or the text form, in which it plays a routine by itself. A pseudo-terminal looks to any serial
// program like the port of a real board; opening it resets the stand, as it does many boards.
//
// A Hand holds joints of a limp stand in a jig and lets known currents flow, and WithMisreading puts in
// errors of sensors and servo, so that calibration can be tried against what is known.
//
// Units: names carry them. Inside the plant angles are rad, torques N·m, times s.
package virtual
