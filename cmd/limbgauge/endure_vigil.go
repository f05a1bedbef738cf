package main

import (
	"fmt"
	"time"

	"limbgauge/analyze/endurance"
)

// awayMost is for how long a computer that was merely busy may look away from the stand [common practice].
// After longer nobody knows who is at the bench, and nothing arms by itself any more.
const awayMost = 5 * time.Second

// vigil knows for how long the computer looked away from a test. It goes by the wall's clock: the one
// that Go's times are subtracted by stands while a computer sleeps.
type vigil struct {
	now  func() time.Time
	seen time.Time     // when the stand was last looked at, or nothing moved
	away time.Duration // the longest time between two looks of this run
}

// begin is the beginning of a run.
func (v *vigil) begin() { v.seen, v.away = v.now(), 0 }

// look is to be called for all that is heard of the stand, and at the end of a run. What was heard
// before a computer fell asleep may be read only after, so the end alone would show nothing.
func (v *vigil) look() {
	now := v.now()
	v.away = max(v.away, wall(v.seen, now))
	v.seen = now
}

// slept is how much further the wall's clock has come than the computer's own since the last look: it
// slept, or its clock was set.
func (v *vigil) slept() time.Duration {
	if v.seen.IsZero() {
		return 0
	}
	now := v.now()
	return wall(v.seen, now) - now.Sub(v.seen)
}

func wall(from, to time.Time) time.Duration { return to.Round(0).Sub(from.Round(0)) }

// stop ends a test from which the computer was away.
func (v *vigil) stop(long time.Duration, how string) *endurance.Stop {
	return &endurance.Stop{Rule: endurance.RuleOf(endurance.Away), Why: fmt.Sprintf("the computer %s for %s, or its clock was set", how, hours(long.Round(time.Second)))}
}

// between ends a test where the computer slept between two runs; nil, it did not.
func (v *vigil) between() *endurance.Stop {
	if d := v.slept(); d > awayMost {
		return v.stop(d, "slept between two runs")
	}
	return nil
}

// within ends a test where the computer looked away for long in the run that has ended; nil, it did not.
func (v *vigil) within() *endurance.Stop {
	if v.away > awayMost {
		return v.stop(v.away, "slept or stood still, and the stand stopped itself, as it should: nothing was heard of it")
	}
	return nil
}
