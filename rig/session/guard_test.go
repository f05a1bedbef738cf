package session

import (
	"errors"
	"testing"

	"limbgauge/rig"
	"limbgauge/rig/record"
	"limbgauge/rig/virtual"
)

// A guard stops motion, and the run says in its words why it ended there.
func TestGuardEndsARun(t *testing.T) {
	joints := leg(t)
	hot := errors.New("the servo is too hot")
	seen := 0
	res, err := Run(t.Context(), Config{Line: stand(t, virtual.Options{Joints: joints}), Joints: joints, SampleHz: 250, Consent: Agreed(),
		Plans: []Plan{{2, little("knee")}}, Bench: t.TempDir(), Guard: func(b *rig.Batch) error {
			if seen += b.Len(); seen > 300 {
				return hot
			}
			return nil
		}})
	var guard *GuardError
	if !errors.As(err, &guard) || !errors.Is(err, hot) {
		t.Fatalf("got %v, want a GuardError of %v", err, hot)
	}
	r := open(t, res)
	if r.Info.End.How != record.Stopped || r.Info.End.Reason != hot.Error() || r.Info.State != record.Sealed {
		t.Errorf("ended %+v", r.Info.End)
	}
	b := batchesOf(t, r)[2]
	if n := b.Len(); n < 300 || n != seen {
		t.Errorf("%d samples kept, the guard saw %d", n, seen)
	}
	if last := b.Segment[b.Len()-1]; int(last) >= len(little("").Moves) {
		t.Errorf("the routine went on to move %d", last)
	}
}

// What the guard sees in the last samples counts, though the last move is done by then. The stand waits for
// the host, so that a run has the same samples each time.
func TestGuardOfTheLastSamples(t *testing.T) {
	joints := leg(t)
	hot := errors.New("the servo is too hot")
	most := 0
	for _, want := range []error{nil, hot} {
		seen, last := 0, most
		res, err := Run(t.Context(), Config{Line: stand(t, virtual.Options{Joints: joints}), Joints: joints, SampleHz: 250, Consent: Agreed(),
			Plans: []Plan{{2, little("knee")}}, Bench: t.TempDir(), Guard: func(b *rig.Batch) error {
				if seen += b.Len(); seen == last {
					return hot
				}
				return nil
			}})
		if !errors.Is(err, want) {
			t.Fatalf("got %v, want %v", err, want)
		}
		if r := open(t, res); want != nil && (r.Info.End.How != record.Stopped || r.Info.End.Reason != hot.Error()) {
			t.Errorf("ended %+v", r.Info.End)
		}
		if most == 0 {
			most = seen
		} else if seen != most {
			t.Errorf("%d samples, %d before", seen, most)
		}
	}
}
