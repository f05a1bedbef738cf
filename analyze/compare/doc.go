// Package compare sets the runs of two revisions side by side, measure by measure: the difference
// with its interval, and whether the data say better, worse or neither.
//
// The unit is the assembly where runs carry an assembly tag, else the run. One run a side leaves
// the scatter between assemblies unseen, and the verdict says so. Source: Welch 1947, unequal
// variances; JCGM 100:2008 for a single run's own uncertainty.
package compare
