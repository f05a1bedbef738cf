package main

import (
	"context"
	"fmt"
	"runtime"
	"runtime/debug"
	"sync"

	"limbgauge/analyze"
	"limbgauge/analyze/health"
	"limbgauge/rig/record"
)

// samplesAtOnce bounds how many samples are analysed at a time. One takes some hundred bytes on its way,
// so that the joints of an hour-long run are taken one by one, those of a usual run all together.
const samplesAtOnce = 2_000_000

// tightGC is how far the heap may grow beyond what is in use while a long run is analysed, in per cent:
// its samples lie in few large columns, which cost the collector nothing to pass over.
const tightGC = 10

// question is a joint of a run with what is known of it beside its samples.
type question struct {
	joint   string
	samples int
	past    analyze.Past
	note    string // for the reader of the answer
}

// answers analyses joints of a run, several at once; what they say does not hang on how many. The
// answers come in the order of the questions, as does the first error.
func answers(ctx context.Context, r *record.Run, ask []question) ([]health.Joint, error) {
	out, errs := make([]health.Joint, len(ask)), make([]error, len(ask))
	if r.Info.Samples() > samplesAtOnce {
		defer debug.SetGCPercent(debug.SetGCPercent(tightGC))
	}
	room := newRoom(samplesAtOnce)
	var all sync.WaitGroup
	for i, q := range ask {
		leave := room.enter(max(q.samples, samplesAtOnce/runtime.GOMAXPROCS(0)))
		if errs[i] = ctx.Err(); errs[i] != nil {
			leave()
			break
		}
		all.Go(func() {
			defer leave()
			out[i], errs[i] = q.answer(r)
		})
	}
	all.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (q question) answer(r *record.Run) (health.Joint, error) {
	s, err := r.Series(q.joint)
	if err != nil {
		return health.Joint{}, err
	}
	answer, err := analyze.RunAfter(s, r.Setup(q.joint), q.past)
	if err != nil {
		return answer, inputError(fmt.Errorf("run %s: %w", r.Info.Run, err), "the run is too short to judge; its samples are kept")
	}
	c, _ := r.Calibration(q.joint) // an error was Series' to tell
	correctedNote(&answer, c)
	if q.note != "" {
		answer.Notes = append(answer.Notes, q.note)
	}
	return answer, nil
}

// room lets in as much as it holds; who asks for more has it alone.
type room struct {
	mu    sync.Mutex
	freed sync.Cond
	free  int
	size  int
}

func newRoom(size int) *room {
	r := &room{free: size, size: size}
	r.freed.L = &r.mu
	return r
}

// enter waits until there is room for n and takes it.
func (r *room) enter(n int) (leave func()) {
	n = min(n, r.size)
	r.mu.Lock()
	defer r.mu.Unlock()
	for r.free < n {
		r.freed.Wait()
	}
	r.free -= n
	return func() {
		r.mu.Lock()
		defer r.mu.Unlock()
		r.free += n
		r.freed.Broadcast()
	}
}
