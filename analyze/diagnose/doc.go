// Package diagnose weighs the evidence of a run into findings. It holds one table of causes
// (table.go); each row names the signs that speak for and against a cause with their weights, what
// the cause explains besides, what these sensors cannot tell from it, the part and the cheapest
// next test. A new cause is a new row.
//
// Weights are log-odds (natural): +3 turns even odds into 20 to 1. They are judgement, not
// statistics [common practice]; a sign that rests on a limit carries the guard band of its verdict.
package diagnose
