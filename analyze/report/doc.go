// Package report writes the answer about one run as a page a builder can read, keep and print: one
// HTML file that loads nothing from outside and needs no script. It also draws the curves behind
// the figures as SVG, for the report and for any other page.
//
// On paper the page makes a short form: what is folded away stays away, and is named; the head of each
// sheet says whose it is. Findings come first, with their next test and the curve that shows them.
//
// The package shows what it is given and judges nothing: values, verdicts and causes come from
// package health. What could not be seen is said in words, never drawn as zero. Units are those of
// health: deg, N·m, N, s, A, V. Lengths of drawings are CSS pixels.
//
// Names and texts may come from files of any origin. All of them are escaped, and characters that
// a reader cannot see (control and direction marks) are replaced.
package report
