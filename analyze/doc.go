// Package analyze turns the samples of a run into measures and findings. Run, and RunAfter with what
// earlier runs say, are the only way in; the packages below are steps of the way:
//
//	sensor       readings no joint can make
//	segment      moves, stops and passes
//	positioning  reversal, repeatability, accuracy
//	play         dead zone, compliance, span slack, belt tension
//	friction     friction by speed, direction and angle
//	drive        torque use, stall, supply
//	vibration    step response, ring-down, hunting
//	drift        steps of the offset, creep, set
//	diagnose     evidence to findings
//	stats filter what several of these share
//	rhythm       the line to a stand: its pace, delays, clock
//	health       words of an answer: measures, causes, verdicts
//
// Angles are deg, torque N·m, time s, current A, voltage V. Nothing here reads a file, a port or a
// clock; the same series always gives the same answer.
package analyze
