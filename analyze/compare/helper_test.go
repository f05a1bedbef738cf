package compare

import (
	"fmt"
	"math"
	"testing"

	"limbgauge/analyze/health"
)

var nan = math.NaN()

// one makes a run of routine "assembly" with the measures given.
func one(id, assembly string, ms ...health.Measure) Run {
	return Run{ID: id, Assembly: assembly, Routine: "assembly", Joint: health.Joint{Joint: "knee", Measures: ms}}
}

// equal makes n runs of equal figures, each an assembly of its own.
func equal(n int, ms ...health.Measure) (out []Run) {
	for i := range n {
		out = append(out, one(fmt.Sprintf("%04d", i), "", ms...))
	}
	return out
}

// plays makes one untagged run per value of play.
func plays(u float64, values ...float64) []Run {
	var out []Run
	for i, v := range values {
		out = append(out, one(fmt.Sprintf("%04d", i), "", play(v, u)))
	}
	return out
}

func play(v, u float64) health.Measure {
	return health.Judge(health.Of("play", health.Transmission, v, u, ""), 0.5)
}

func of(name string, v, u float64) health.Measure {
	return health.Of(name, health.NoPath, v, u, "")
}

func load(nm float64) health.Measure { return of(loadMeasure, nm, 0.03*nm) }

// find returns the row of a measure, whatever its path.
func find(t testing.TB, r Result, name string) Row {
	t.Helper()
	for _, row := range r.Rows {
		if row.A.Name == name {
			return row
		}
	}
	t.Fatalf("no row of %s in %+v", name, r.Rows)
	return Row{}
}
