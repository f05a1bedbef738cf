package session

import (
	"reflect"
	"testing"
	"time"

	"limbgauge/rig"
	"limbgauge/rig/virtual"
)

// A virtual stand that runs as fast as it can gives the same samples whatever the computer does meanwhile:
// it waits for a host that takes its time.
func TestSameSamplesEachTime(t *testing.T) {
	joints := leg(t)
	var first []*rig.Batch
	for _, slow := range []time.Duration{0, 5 * time.Millisecond, 0} {
		line := stand(t, virtual.Options{Joints: joints})
		time.Sleep(4 * slow) // its time has not begun
		res, err := Run(t.Context(), Config{Line: line, Joints: joints, SampleHz: 250, Consent: Agreed(),
			Plans: []Plan{{1, little("hip")}, {2, little("knee")}}, Bench: t.TempDir(), Guard: func(*rig.Batch) error {
				time.Sleep(slow)
				return nil
			}})
		if err != nil {
			t.Fatal(err)
		}
		got := batchesOf(t, open(t, res))
		if first == nil {
			first = got
		} else if !reflect.DeepEqual(got, first) {
			t.Errorf("with a host that takes %v for a batch the samples differ", slow)
		}
	}
}
