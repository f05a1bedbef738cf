package rhythm_test

import (
	"errors"
	"math"
	"net"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"limbgauge/analyze/rhythm"
	"limbgauge/rig/link"
	"limbgauge/rig/link/find"
	"limbgauge/rig/link/linktest"
	"limbgauge/rig/link/port"
)

// pipe is a line without a baud rate.
type pipe struct{ net.Conn }

func (pipe) Retune(int) error { return nil }

// TestStand sees what a stand of known clock and rate does, without any delay on the way: the fit must find
// the clock, the pace the rate, and nothing is lost.
func TestStand(t *testing.T) {
	for _, ppm := range []float64{0, 130, -5000} {
		synctest.Test(t, func(t *testing.T) {
			host, far := net.Pipe()
			var wg sync.WaitGroup
			wg.Go(func() { linktest.NewStand(linktest.Config{PPM: ppm}).Serve(far) })
			defer wg.Wait()
			defer far.Close()
			var rec find.Recorder
			met, err := find.Meet(t.Context(), find.Options{Open: func(int) (port.Line, error) { return pipe{host}, nil },
				Link: link.Options{Rest: true, Arrived: rec.Arrived}})
			if err != nil {
				t.Fatal(err)
			}
			if err := met.Sample(t.Context(), 200); err != nil {
				t.Fatal(err)
			}
			seen := find.Watch(t.Context(), met, len(met.Joints()), 10*time.Second, met.AskTime)
			if err := errors.Join(seen.Err, met.StopSampling(t.Context()), met.Close()); err != nil {
				t.Fatal(err)
			}
			var times, samples []rhythm.Point
			for _, a := range rec.Since(seen.Began) {
				p := rhythm.Point{Device: float64(a.DeviceUS) / 1e6, Host: a.At.Sub(seen.Began).Seconds()}
				switch a.What {
				case link.ArrivedTime:
					times = append(times, p)
				case link.ArrivedSamples:
					samples = append(samples, p)
				}
			}
			if len(times) < 100 || len(samples) < 100 {
				t.Fatalf("%d answers and %d messages of samples", len(times), len(samples))
			}
			c := rhythm.FitClock(times, rhythm.BeatAnswers)
			if c.PPM.Excludes(ppm) || c.PPM.Expanded() > 60 || math.Abs(c.PPM.Value-ppm) > 1 {
				t.Errorf("clock %g ± %g ppm, want %g", c.PPM.Value, c.PPM.Expanded(), ppm)
			}
			for i, b := range seen.Batches {
				// This stand keeps its 5 ms by the true clock, so that its own shows another rate.
				r := rhythm.PaceOf(b.TimeUS, 200)
				if math.Abs(r.PerS-200/(1+ppm*1e-6)) > 0.1 || r.Gaps != 0 || b.Len() < 1980 {
					t.Errorf("joint %d: %+v", i, r)
				}
				if l := met.Losses()[i]; l.Lost+l.Damaged != 0 || !l.Known {
					t.Errorf("joint %d: %+v", i, l)
				}
			}
			if l := c.Lateness(samples); l.Most > 0.025 { // SPEC.md: no sample waits for more than 20 ms
				t.Errorf("late %+v", l)
			}
		})
	}
}
