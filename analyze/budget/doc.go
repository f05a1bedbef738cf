// Package budget works out what a leg can carry: the static torque of each joint over all places a foot
// stands in, the greatest body mass, the torque of a swing, and the least belt tension.
//
// Angles are rad, lengths m, masses kg, torque N·m. Index 0 is the yaw, 1 the hip, 2 the knee. The
// leg's angles: yaw 0 points away from the body, hip 0 is a level femur, the knee's is relative to
// the femur, 0 when the leg is stretched; z points up.
//
// A torque is positive where the motor pushes its angle up. A force F of the ground on the foot asks
// the motors for -Jᵀ·F (Craig, Introduction to Robotics, static forces; from memory), the weight of
// the links for the gradient of their height. Both are statics of stiff links: give of belts and
// plastic, and the dynamics of a moving body, are not in them. Dynamic gaits ask 1.5 to 2.5 times as
// much [common practice].
package budget
