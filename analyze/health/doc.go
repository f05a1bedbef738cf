// Package health holds the words of an answer: measures with their doubt, findings with their
// evidence, and the curves behind them. It is the one place for the names and units of measures
// and for the causes a finding may name. It computes nothing but verdicts and how sure they are.
//
// The JSON form is versioned by Schema; a figure that is not there is null, never zero.
package health
