// Package rhythm measures the line to a stand from what came over it: the rhythm of samples, how late they
// arrive, how the stand's clock runs against the host's, and what a sensor shows at rest. Pure functions
// of slices.
package rhythm
