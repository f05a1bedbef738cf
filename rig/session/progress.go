package session

import (
	"math"
	"slices"
	"time"

	"limbgauge/rig"
)

// progress follows a session by what the samples say.
type progress struct {
	joints  []rig.Joint
	plan    map[int]time.Duration // planned duration per joint
	moves   map[int]int
	total   time.Duration
	startUS map[int]int64
	last    rig.Row
	peak    int32 // of the current, in the newest batch
	joint   int
	samples int
}

func newProgress(cfg Config) progress {
	p := progress{joints: cfg.Joints, plan: map[int]time.Duration{}, moves: map[int]int{}, startUS: map[int]int64{}, joint: -1}
	for _, pl := range cfg.Plans {
		d := pl.Routine.Duration(firstTarget(pl.Routine))
		p.plan[pl.Joint] += d
		p.moves[pl.Joint] += len(pl.Routine.Moves)
		p.total += d
	}
	return p
}

// firstTarget stands for the unknown angle a joint starts from.
func firstTarget(r rig.Routine) float64 {
	if len(r.Moves) == 0 {
		return 0
	}
	return r.Moves[0].TargetDeg
}

func (p *progress) take(b *rig.Batch) {
	p.joint = b.Joint
	if _, ok := p.startUS[b.Joint]; !ok {
		p.startUS[b.Joint] = b.TimeUS[0]
	}
	p.last, p.peak = b.Row(b.Len()-1), slices.Max(b.Current) // rig.Missing is less than any
	p.samples += b.Len()
}

// elapsed returns the device time since the present joint's first sample.
func (p *progress) elapsed() time.Duration {
	return time.Duration(p.last.TimeUS-p.startUS[p.joint]) * time.Microsecond
}

func (p *progress) stuck() bool {
	return p.elapsed().Seconds() > slowest*p.plan[p.joint].Seconds()+graceS
}

func (p *progress) snapshot(l rig.Losses) Snapshot {
	done := p.elapsed()
	if plan, ok := p.plan[p.joint]; ok {
		done = min(done, plan)
	}
	for j := range p.startUS {
		if j != p.joint {
			done += p.plan[j]
		}
	}
	s := Snapshot{Joint: p.joints[p.joint].Name, Move: p.last.Move, Segment: int(p.last.Segment), Moves: p.moves[p.joint],
		Done: done, Left: max(0, p.total-done), Samples: p.samples, Losses: l,
		CommandDeg: value(p.last.Command, 1e-3), AngleDeg: value(p.last.Angle, 1e-3), MotorDeg: value(p.last.Motor, 1e-3),
		CurrentA: value(p.last.Current, 1e-3), PeakA: value(p.peak, 1e-3), SupplyV: value(p.last.Supply, 1e-3)}
	if p.total > 0 {
		s.Share = done.Seconds() / p.total.Seconds()
	}
	return s
}

func value(v int32, unit float64) float64 {
	if v == rig.Missing {
		return math.NaN()
	}
	return float64(v) * unit
}
