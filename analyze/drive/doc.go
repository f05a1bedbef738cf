// Package drive judges the motor of a joint: how much of its torque a load asks for, whether it
// stalled, what the supply lost on the way, and how warm it should get.
//
// Angles are deg and speeds deg/s (as data sheets and logs give them), torque is N·m, current A,
// voltage V, resistance Ω, time s, temperature °C or K rises. Power is W, for which speeds are
// turned into rad/s inside.
//
// The lines of a permanent-magnet motor hold at every instant for the voltage it sees, not for the
// voltage of the data sheet. Sources: the torque, current and speed lines are textbook (any text
// on DC motors); what is derived or common practice is marked where it stands.
package drive
