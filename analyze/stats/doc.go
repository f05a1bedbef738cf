// Package stats is what the measuring packages share: descriptive figures, least squares, robust
// fits, resampling by cycle, and tests for trends and steps.
//
// It knows no units: a value comes back in the unit it was handed in. Slices are never modified
// and never kept. Random numbers come from a seed the caller passes in, so the same call always
// gives the same answer.
//
// A figure is an Estimate: a value, its standard uncertainty and the degrees of freedom behind it.
// What could not be seen is an Estimate that says why, never a zero. Slices of unequal length are
// a mistake of the caller and panic; data that do not suffice are an error or an unseen Estimate.
package stats
