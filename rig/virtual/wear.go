package virtual

import (
	"fmt"
	"math"
)

// Fault is a fault that may grow from run to run. Its size in some run is
//
//	Size + PerRun·runs + PerWeek·weeks + PerCycle·cycles + PerDecade·log10(1 + runs)
//
// counted since FromRun; before that run it is not there. A size that fell below 0 counts as 0. Rates
// may be negative: a belt that loosens is belt_tension_low with the tension of today and a loss. What it
// goes on to lose when no tension is left becomes a dead zone: the spans are too long by that pull over
// their stiffness.
//
// A horn_slip or tooth_skip happens in the run in which its size grows, by as much as it grows, and
// stays: later runs begin with it. Both go to smaller angles.
type Fault struct {
	Cause                                string
	Size                                 float64
	PerRun, PerWeek, PerCycle, PerDecade float64
	FromRun                              int
}

// Faults are all that goes wrong with a joint. They are put in one after the other, so of two that
// set the same figure the later one counts.
type Faults []Fault

// Age is how much a joint has behind it.
type Age struct {
	Runs   int     // runs done before this one
	Weeks  float64 // since it was assembled or last serviced
	Cycles float64 // to and fro
}

// After returns the joint as it is in the run that follows an age: its faults grown, its belt older.
// fresh is the joint as it was assembled.
func (f Faults) After(fresh Truth, age Age) (Truth, error) {
	const week = 7 * 86400
	t := fresh.clone()
	if t.Belt != nil {
		t.Belt.AgeS += age.Weeks * week
	}
	for _, x := range f {
		if age.Runs < x.FromRun {
			continue
		}
		raw := x.raw(age)
		size := math.Max(0, raw)
		var err error
		if t, err = WithFault(t, x.Cause, size); err != nil {
			return fresh, fmt.Errorf("wear after %d runs: %w", age.Runs, err)
		}
		before := 0.0
		if age.Runs > x.FromRun {
			last := float64(age.Runs-1) / float64(age.Runs)
			before = x.size(Age{age.Runs - 1, age.Weeks * last, age.Cycles * last})
		}
		switch x.Cause {
		case "belt_tension_low":
			if raw < 0 {
				t.Belt.SlackDeg = -2 * raw / (t.Belt.SpanNPerM * t.Belt.jointRadiusM()) / rad
			}
		case "horn_slip":
			t.Horn.OffsetDeg, t.Horn.Slips = fresh.Horn.OffsetDeg-before, growth(before, size)
		case "tooth_skip":
			before, size = math.Floor(before), math.Floor(size)
			t.Belt.OffsetTeeth, t.Belt.Skips = fresh.Belt.OffsetTeeth-before, growth(before, size)
		}
	}
	return t, nil
}

func growth(before, now float64) []Slip {
	if now <= before {
		return nil
	}
	return []Slip{{AtS: eventS, Deg: before - now}}
}

func (x Fault) size(age Age) float64 { return math.Max(0, x.raw(age)) }

func (x Fault) raw(age Age) float64 {
	// Of the weeks and cycles, those before FromRun are taken off in proportion to the runs.
	share := 1.0
	if age.Runs > 0 {
		share = float64(age.Runs-x.FromRun) / float64(age.Runs)
	}
	runs := float64(age.Runs - x.FromRun)
	return x.Size + x.PerRun*runs + x.PerDecade*math.Log10(1+runs) + share*(x.PerWeek*age.Weeks+x.PerCycle*age.Cycles)
}
