// Package trend watches one joint over its runs: is a measure getting worse, since when, and when will
// it reach its limit. It is handed what the runs answered and what was done to the joint between them,
// and knows neither files nor the book.
//
// A service, a revision or another assembly begins a new stretch. Within a stretch the first good runs,
// three to eight of one routine and of conditions that compare, are the baseline; every later run is
// held against it. x is the number of a run within its stretch, from 1, counting every run of the
// routine whether it saw the measure or not. Uncertainties of measures are expanded, 95 %.
//
// Bounds are used as bounds: "at least 50 N" is neither dropped nor taken for 50 N, see Stretch.
package trend
