package health

import (
	"math"
	"testing"

	"limbgauge/analyze/stats"
)

// Check 8g: a guard band of z(p)·u passes exactly what conforms with probability p. Of the worked
// examples of JCGM 106:2012, one reads -5.47 with u 0.05 against at most -5.40: 0.919; one asks 99.9 %
// against 100 with u 2 % of the reading: from 106.59 on it is surely above. Check 8h: 0.46 with u 0.03
// against at most 0.5: 0.908789. Limits are moved to where judging by size does not matter.
func TestGuardBandIsConformance(t *testing.T) {
	judge := func(value, u, p, limit float64) Verdict {
		return Judge(Of("play", Total, value, stats.TQuantile(p, math.Inf(1))*u, ""), limit).Verdict
	}
	const shift = 10 // both examples lie below zero
	for _, c := range []struct {
		name               string
		value, u, p, limit float64
		want               Verdict
	}{
		{"conforms with 0.9192, 0.918 asked", shift - 5.47, .05, .918, shift - 5.40, Pass},
		{"conforms with 0.9192, 0.920 asked", shift - 5.47, .05, .920, shift - 5.40, Unproven},
		{"0.02 times 106.58", 106.58, .02 * 106.58, .999, 100, Unproven},
		{"0.02 times 106.60", 106.60, .02 * 106.60, .999, 100, Fail},
		{"conforms with 0.908789, less asked", .46, .03, .908788, .5, Pass},
		{"conforms with 0.908789, more asked", .46, .03, .908790, .5, Unproven},
	} {
		if got := judge(c.value, c.u, c.p, c.limit); got != c.want {
			t.Errorf("%s: %s, want %s (JCGM 106:2012)", c.name, got, c.want)
		}
	}
}
