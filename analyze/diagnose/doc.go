// Package diagnose weighs the evidence of a run into findings. It holds one table of causes
// (table.go); each row names the signs that speak for and against a cause with their weights, what
// the cause explains besides, what these sensors cannot tell from it, the part and the cheapest
// next test. A new cause is a new row. A second table (blindspots.go) names what a sound joint could
// not exclude, because the measure that decides was not seen.
//
// Weights are log-odds (natural): +3 turns even odds into 20 to 1. They are judgement, not
// statistics [common practice]. A sign that rests on a limit carries as much of its weight as its
// interval allows: all beyond the guard band, and where the limit lies inside the interval the odds
// that the true value is beyond it. Then the cause is likely, a warning, and explains nothing away
// that is proven.
package diagnose
