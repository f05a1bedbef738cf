// Package lost says where a joint loses its motion: how many degrees of what is commanded do not
// arrive, by stretch of the joint and by kind, and what of it nobody knows.
//
// It adds up what a load takes that changes sides and back: the dead zone b, the give 2·C·M of a
// compliance C under the greatest load torque M to either side, and the gap 2·C·T_f that a friction
// torque T_f leaves between the two directions (derived; the last as in the reversal value,
// B = b + 2·T_f·C + what the servo itself leaves). Angles are deg, torques N·m, C deg/N·m, distances m.
package lost
