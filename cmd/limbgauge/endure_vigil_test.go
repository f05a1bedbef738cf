package main

import (
	"errors"
	"io"
	"strings"
	"sync"
	"testing"
	"time"

	"limbgauge/analyze/endurance"
	"limbgauge/cmd/limbgauge/clocktest"
	wire "limbgauge/firmware-protocol"
	"limbgauge/rig/link"
	"limbgauge/rig/session"
)

// sleeping is the clock of a computer that sleeps.
type sleeping struct {
	t  *testing.T
	mu sync.Mutex
	at time.Time
}

func (s *sleeping) now() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.at
}

func (s *sleeping) sleep(d time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.at = clocktest.Slept(s.t, s.at, d)
}

// A stand that stopped itself for want of a heartbeat goes on where the computer was merely busy, some times in a
// row; where it was away for long, by the wall's clock, nothing arms again.
func TestNoHeartbeat(t *testing.T) {
	trip := &link.TrippedError{Trip: link.Tripped{Reason: wire.ReasonHeartbeat, Value: 260, Limit: wire.HeartbeatTripMS}}
	const sample = 30 * time.Millisecond
	for name, c := range map[string]struct {
		gaps []time.Duration // between what is heard, and to the end of the run
		want endurance.Key   // "" is to go on
	}{
		"busy":                    {[]time.Duration{sample, sample, time.Second}, ""},
		"a slow end":              {[]time.Duration{sample, 4 * time.Second}, ""},
		"asleep":                  {[]time.Duration{sample, 2 * time.Hour}, endurance.Away},
		"heard after it had woke": {[]time.Duration{sample, 2 * time.Hour, sample, sample}, endurance.Away},
		"asleep before a sample":  {[]time.Duration{time.Minute}, endurance.Away},
	} {
		t.Run(name, func(t *testing.T) {
			clock := &sleeping{t: t, at: time.Now()}
			e := &endurer{app: &app{out: io.Discard, now: clock.now}, vigil: vigil{now: clock.now}}
			e.vigil.begin()
			for _, g := range c.gaps {
				clock.sleep(g)
				e.vigil.look()
			}
			stop, err := e.stopped(trip)
			switch {
			case c.want == "" && (stop != nil || err != nil):
				t.Errorf("ended: %+v, %v", stop, err)
			case c.want != "" && (stop == nil || stop.Rule.Key != c.want || !errors.Is(err, trip)):
				t.Errorf("%+v, %v; want rule %s", stop, err, c.want)
			}
		})
	}
}

// A computer that slept between two runs arms no other, and says why.
func TestAsleepBetweenRuns(t *testing.T) {
	clock := &sleeping{t: t, at: time.Now()}
	var said strings.Builder
	a := &app{in: strings.NewReader(""), out: &said, err: io.Discard, bench: exampleFolder(t), now: clock.now}
	o := endureOptions{cycles: 40, checkEvery: 20, runCycles: runCycles, heatMost: endurance.HeatMost, tempMost: endurance.TempMostC}
	o.routine, o.seed = checkRoutine, 1
	e, err := a.planEndurance(t.Context(), "knee", o)
	if err != nil {
		t.Fatal(err)
	}
	e.consent = session.Agreed()
	e.out = sayer(func(text string) {
		said.WriteString(text + "\n")
		clock.sleep(time.Hour) // after the first line, which is that of the first run
	})
	stop, err := e.toItsEnd(t.Context())
	if err != nil || stop == nil || stop.Rule.Key != endurance.Away || e.runs != 1 {
		t.Fatalf("after %d runs: %+v, %v", e.runs, stop, err)
	}
	if words := strings.Join(e.endWords(stop), " "); !strings.Contains(words, "slept between two runs for 1:00 h") {
		t.Errorf("it says %q", words)
	}
	info, err := infoOf(a.folder() + "/runs/" + e.lastRun)
	if err != nil || !strings.Contains(info.End.Reason, "slept") {
		t.Errorf("its run says %+v, %v", info.End, err)
	}
}
