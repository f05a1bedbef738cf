// Package compare sets the runs of two revisions side by side, measure by measure: the difference
// with its interval, and whether the data say better, worse or neither. Values keep the units of
// their measures; uncertainties are expanded, 95 % coverage.
//
// The unit is the assembly where runs carry an assembly tag, else the run. One unit on a side leaves
// the scatter between assemblies unseen, and the row says so. "No difference seen" does not say that
// the two are equal: the interval says how far apart they may still be.
//
// Sources: Welch, Biometrika 34 (1947) 28-35, for unequal variances; JCGM 100:2008 for a single
// run's own uncertainty.
package compare
