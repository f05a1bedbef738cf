//go:build unix

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"limbgauge/cmd/limbgauge/web"
	"limbgauge/rig/record"
)

// loadMinutes names how many minutes the load lasts; without it a few seconds.
const loadMinutes = "LIMBGAUGE_LOAD_MINUTES"

// Three joints at 1 kHz in real time, five pages that watch, one that never reads: what the codec alone
// heard on the line is in the run, sample by sample, and memory does not grow.
func TestLiveLoad(t *testing.T) {
	b := serveLive(t, byPipe)
	sweep, long := web.Sweep{Joints: []string{"yaw", "hip", "knee"}, Routine: "quick"}, 5*time.Second
	if m := os.Getenv(loadMinutes); m != "" {
		n, err := strconv.ParseFloat(m, 64)
		if err != nil {
			t.Fatalf("%s=%s: %v", loadMinutes, m, err)
		}
		sweep.Routine, long = "hold", time.Duration(n*float64(time.Minute))
	}
	var pages []*visitor
	for i := range 5 {
		pages = append(pages, visit(t, b.url, fmt.Sprintf("a-page-that-reads-%d", i)))
	}
	neverReads(t, b.url, 0)
	quiet := pages[0].begin(sweep)
	b.moves(t, 1)

	longest := sleeper(t)

	// The server cuts off who does not read for 5 s, so another one comes now and then.
	again, minute, over := time.NewTicker(4*time.Second), time.NewTicker(time.Minute), time.NewTimer(long)
	defer again.Stop()
	defer minute.Stop()
	began := time.Now()
	for n := 1; long > 0; {
		select {
		case <-again.C:
			neverReads(t, b.url, n)
			n++
		case <-minute.C:
			before := b.ear().drops()
			text := memory(time.Since(began))
			time.Sleep(500 * time.Millisecond)
			t.Logf("%s; the stand dropped %d, with this look %d; the machine let a sleeper of 1 ms wait for up to %s", text, before, b.ear().drops(), longest())
		case <-over.C:
			long = 0
		}
	}
	t.Logf("%s; the machine let a sleeper of 1 ms wait for up to %s", memory(time.Since(began)), longest())
	if why := pages[1].post("/stop", nil); why != "" {
		t.Fatal(why)
	}
	text, run := pages[0].state("limp")
	quiet()
	if run == "" || !strings.Contains(text, "Stopped from a page") {
		t.Fatalf("run %q; the page says %q", run, text)
	}
	b.holdsAll(t, run)
	for _, p := range pages {
		t.Logf("%s heard %d news, %d samples", p.id, p.heard.Load(), p.samples.Load())
		if p.samples.Load() == 0 { // of how many is the machine's: a page that is slow loses news
			t.Errorf("%s was told of no samples", p.id)
		}
	}
}

// holdsAll compares a run with what its ear heard.
func (b *liveBench) holdsAll(t *testing.T, id string) {
	t.Helper()
	r, err := record.Open(record.RunDir(b.folder, id))
	if err != nil {
		t.Fatal(err)
	}
	batches, err := r.Batches()
	if err != nil {
		t.Fatal(err)
	}
	e := b.ear()
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.dropped > 0 { // which is no loss of ours, and told with the run
		t.Logf("the computer was too busy for the stand: it had to drop %d samples of a joint", e.dropped)
	}
	moved := 0
	for i, j := range r.Info.Joints {
		line, run := e.joint(uint8(j.Setup.Channel)), new(heard)
		for n := range batches[i].Len() {
			if row := batches[i].Row(n); row.Segment != 0 {
				run.take(sample{uint32(row.TimeUS), row.Command, row.Angle, row.Segment})
			}
		}
		if *run != *line {
			t.Errorf("joint %s: on the line %+v, in the run %+v", j.Setup.Name, *line, *run)
		}
		// The stand's grid has a point each ms; what is not there was dropped by the stand itself.
		if l := j.Losses; line.gaps > l.Lost || l.Lost > int(e.dropped) || l.Damaged+l.Late > 0 {
			t.Errorf("joint %s: %d points of the grid have no sample, the stand dropped %d, the run says %+v", j.Setup.Name, line.gaps, e.dropped, l)
		}
		moved += line.n
		t.Logf("joint %s: %d samples of moves, %d in the run", j.Setup.Name, line.n, run.n)
	}
	if moved == 0 {
		t.Error("no sample of a move was heard")
	}
	t.Logf("%d samples of all joints on the line", e.samples)
}

// sleeper sleeps a ms at a time until the test ends. What it returns says how long the longest has been since it
// was asked last: nothing in a process on that machine comes sooner.
func sleeper(t *testing.T) (longest func() time.Duration) {
	var most atomic.Int64
	over, done := make(chan struct{}), make(chan struct{})
	t.Cleanup(func() { close(over); <-done })
	go func() {
		defer close(done)
		for {
			began := time.Now()
			select {
			case <-over:
				return
			case <-time.After(time.Millisecond):
			}
			most.Store(max(most.Load(), int64(time.Since(began))))
		}
	}()
	return func() time.Duration { return time.Duration(most.Swap(0)).Round(time.Millisecond) }
}

// memory says what is in use after a collection, and what the system gives the process.
func memory(since time.Duration) string {
	debug.FreeOSMemory()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	rss := "unknown"
	if data, err := os.ReadFile(filepath.FromSlash("/proc/self/statm")); err == nil {
		if f := strings.Fields(string(data)); len(f) > 1 {
			if pages, err := strconv.Atoi(f[1]); err == nil {
				rss = fmt.Sprintf("%.1f MB", float64(pages*os.Getpagesize())/1e6)
			}
		}
	}
	return fmt.Sprintf("after %s: heap %.2f MB, process %s, %d goroutines", since.Round(time.Second), float64(m.HeapAlloc)/1e6, rss, runtime.NumGoroutine())
}
