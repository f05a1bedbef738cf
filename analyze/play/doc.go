// Package play reads the torque-deflection loop of a joint: how wide the dead zone is, how far the
// joint gives per N·m, how wide friction holds the loop open, and at which torque a belt span goes
// slack.
//
// Deflection w is deg, torque τ is N·m and positive where the load turns the joint to greater
// angles. The model of one stretch, without friction and with play b, compliance C:
//
//	w = a + (b/2)·sgn(τ) + C·τ                      both spans taut, |τ| <= M
//	w = a + (b/2)·sgn(τ) + C·τ + D·(|τ|-M)·sgn(τ)   one span slack,  |τ| >  M
//
// Friction f on the joint's side shifts the torque the stretch carries by the direction of motion:
// τ = load - f·sgn(v). Two spans of stiffness k on a pulley of radius r give C = 1/(2kr²) and
// D = C, so D <= C where part and servo give as well; the pretension follows from M = 2·T0·r.
//
// Source: statics of a two-span belt and of a dead zone in series with a spring (derived);
// Nordin and Gutman, Automatica 38 (2002), for the dead-zone model (from memory).
package play
