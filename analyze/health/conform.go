package health

import "math"

// DecisionRule names the rule behind every verdict, for whoever reads an answer.
const DecisionRule = "guard band g = U, the expanded uncertainty of 95 % coverage (ISO 14253-1:2017, JCGM 106:2012): " +
	"pass where value ± U keeps the limit, fail where it misses it, else unproven"

// coverage is the factor between standard and expanded uncertainty (JCGM 106:2012, k = 2).
const coverage = 2.0

// Conformance returns the probability that a true value of normal law, estimated by value with the
// standard uncertainty u, is at most the limit: Φ((limit - value)/u) (JCGM 106:2012, 7.3). A value
// without doubt gives 0 or 1, an unknown u NaN. All three are in one unit.
func Conformance(value, u, limit float64) float64 {
	if u == 0 && value <= limit {
		return 1
	}
	if u == 0 {
		return 0
	}
	return math.Erfc((value-limit)/u/math.Sqrt2) / 2
}

// Conforms returns the probability that the true value keeps the limit a measure was judged by: at
// most the limit, at least it where more is better, and between -limit and +limit for what has a
// sign (JCGM 106:2012, 7.3 and 7.4). The standard uncertainty is half the expanded one. It is NaN
// where no limit is given or the value is a bound or has no known doubt.
func (m Measure) Conforms() float64 {
	if m.Status != Measured || math.IsNaN(m.Limit) {
		return math.NaN()
	}
	d, _ := DefinitionOf(m.Name)
	u := m.Uncertainty / coverage
	if d.More {
		return Conformance(-m.Value, u, -m.Limit)
	}
	return Conformance(m.Value, u, m.Limit) - Conformance(m.Value, u, -m.Limit)
}
