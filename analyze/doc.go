// Package analyze turns the samples of a run into measures and findings. Run is the only way in;
// the packages below it are steps of the way and know nothing of each other:
//
//	segment      moves, stops and passes
//	positioning  reversal, repeatability, accuracy
//	play         dead zone, compliance, span slack, belt tension
//	friction     friction by speed, direction and angle
//	drive        torque use, stall, supply
//	vibration    step response, ring-down, hunting
//	drift        steps of the offset, creep
//	diagnose     evidence to findings
//
// Angles are deg, torque N·m, time s, current A, voltage V. Nothing here reads a file, a port or a
// clock; the same series always gives the same answer.
package analyze
