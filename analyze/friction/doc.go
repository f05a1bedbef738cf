// Package friction fits friction, gravity and inertia to one joint's motion, and looks for places
// where the joint runs tight.
//
// In the inverse-dynamics fit (Motion, Model, FitModel) angles are rad, speeds rad/s, torque N·m,
// time s; the same code serves a sliding axis in m and N. In profiles by position (Pass, Profile,
// TightSpot) angles are deg, because bins and places are named in degrees; torque is N·m, or
// whatever the caller took for it (a current, a tracking error), and then the result is a hint.
//
// Sources: Gautier and Khalil, IEEE Trans. Robotics and Automation 6 (1990) 368-373, and Swevers,
// Verdonck, De Schutter, IEEE Control Systems 27(5) (2007) 58-71 for the fit (from memory); the
// printed recipe of Janot, Gautier, Brunot 2019, whose parameters the tests hold it against.
package friction
