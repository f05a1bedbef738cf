// Package calibrate fits the constants of a calibration to its raw points: corrections of sensors
// against a jig or a meter, the servo's pulse-to-angle lines, current under known weights.
//
// A correction is fitted as JCGM 100:2008 (GUM), H.3 does it: the difference reference - reading is a
// function of the reading, by least squares. Every uncertainty is standard; the part that comes from
// scatter is widened by t(0.975, ν)/1.96, so that twice the value is a 95 % interval however few the
// points are, and the reference's own ±within counts as rectangular, within/√3 (GUM 4.3.7).
//
// Which model is taken is a question of evidence: the one with more constants must lie better by
// more than bicApart. What the points cannot show is refused with its reason: scale from one place,
// waves of a turn from less than 270 degrees, a law of current from two torques.
//
// Angles are deg, pulses µs, torque N·m at the servo's shaft, current A. Points are not modified.
package calibrate
