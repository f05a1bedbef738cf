// Package session runs routines on a stand: it joins a conversation (link) and a recording (record),
// keeps the rules of motion, and lets others watch without ever waiting for them.
//
// What holds whatever happens: nothing moves without a Consent; motion is stopped before anything
// else is tidied up; what was recorded until then is kept and says how it ended. One joint moves at
// a time, so that the supply and the frame see one load.
//
// Still reads a stand that stays limp, for calibration; it cannot arm.
//
// A stop by software is a convenience and no safety device.
package session
