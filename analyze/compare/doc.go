// Package compare sets two sides side by side, revisions or other sets of runs, measure by measure: the
// difference with its interval, and whether the data say better, worse, the same or nothing. Values keep
// the units of their measures; uncertainties are expanded, 95 % coverage.
//
// The unit is the assembly where runs carry an assembly tag, else the run: taking a leg apart moves
// figures more than sweeping it again. Two units on a side are the least for any verdict.
//
// What was settled before looking decides: which measures are asked for, and how large a difference does
// not matter. Better and worse rest on Welch's test, adjusted by Holm over the measures asked for; the same
// rests on two one-sided tests against the margin. That no difference is seen says neither, so then the
// difference that would have shown is told. Bounds are used as bounds: the ends that face each other.
//
// Figures are brought to the same conditions by package alike, or left out with the reason.
//
// Sources: Welch, Biometrika 34 (1947) 28-35; Holm, Scandinavian J. of Statistics 6 (1979) 65-70;
// Schuirmann, J. Pharmacokinetics and Biopharmaceutics 15 (1987) 657-680; Hollander and Wolfe,
// Nonparametric Statistical Methods, sections 4.1 to 4.3; JCGM 100:2008 for a run's own uncertainty.
package compare
