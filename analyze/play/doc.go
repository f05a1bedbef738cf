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
// Beside these the model has, where the readings can tell them:
//
//	-h·dir                    stops lie apart by the way they were reached, or moving readings from
//	                          standing ones where the servo's lag is in the path
//	κ·dir·√(τmax² - τ²)       a part that creeps in log time lags behind its load on a ramp
//	e·cos θ + o·sin 2θ        form of off-centre angle sensors, θ from where the load hangs; see form.go
//
// κ and o are known to be small beforehand and enter with a prior (ridge) of that width. Rows in
// which the flank changes are left out, as are a few that lie far off (tight spots). Friction is found by
// Gauss and Newton about a grid's best; a knee by a search over its place, accepted by BIC.
//
// Source: statics of a two-span belt and of a dead zone in series with a spring (derived);
// Nordin and Gutman, Automatica 38 (2002), for the dead-zone model (from memory).
package play
