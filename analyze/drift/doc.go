// Package drift finds what changes within a run although command and load come back: steps of the
// offset (a slipped horn, a skipped tooth) and slow growth under a steady load (creep).
//
// Angles are deg, time is s. The unit of evidence is the stop, not the sample: a stop's samples
// share their noise, repeated visits of one stop do not.
package drift
