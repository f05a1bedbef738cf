package endurance

import (
	"fmt"
	"time"
)

// Run is a run of the joint as it is built now, as far as it counts.
type Run struct {
	ID     string
	Cycles int           // of the gait that are done; 0 for a check
	Took   time.Duration // of the gait, by the stand's clock
	Check  bool          // a whole check sweep
}

// Count is how far a test is.
type Count struct {
	Cycles     int
	Took       time.Duration // of gait
	SinceCheck int           // cycles since the last check sweep
	LastCheck  string        // its run, "" before the first
	Checks     int
}

// CountOf adds runs up, oldest first.
func CountOf(runs []Run) (c Count) {
	for _, r := range runs {
		c.Add(r)
	}
	return c
}

// Add takes the next run in.
func (c *Count) Add(r Run) {
	if r.Check {
		c.SinceCheck, c.LastCheck = 0, r.ID
		c.Checks++
		return
	}
	c.Cycles += r.Cycles
	c.SinceCheck += r.Cycles
	c.Took += r.Took
}

// Plan is what is asked of a test.
type Plan struct {
	Cycles     int           // 0 for no end
	Hours      time.Duration // of gait; 0 for no end
	CheckEvery int
	// RunCycles is the greatest number of cycles of one run.
	RunCycles int
	Cycle     time.Duration
}

// Check returns what is wrong with a plan.
func (p Plan) Check() error {
	switch {
	case p.Cycles < 0 || p.Hours < 0:
		return fmt.Errorf("cycles and hours must not be negative")
	case p.Cycles == 0 && p.Hours == 0:
		return fmt.Errorf("give --cycles or --hours, so that the test has an end")
	case p.CheckEvery < 1:
		return fmt.Errorf("--check-every %d: give how many cycles lie between two check sweeps, 1 or more", p.CheckEvery)
	case p.RunCycles < 1:
		return fmt.Errorf("a run of %d cycles is none", p.RunCycles)
	}
	return nil
}

// Next says what comes next: a check sweep, a number of cycles, or the end. A test begins and ends with
// a check, so that what it changed shows.
func (p Plan) Next(c Count) (check bool, cycles int, end *Stop) {
	goal := p.goal(c)
	switch {
	case c.Checks == 0 || c.SinceCheck >= p.CheckEvery || goal != nil && c.SinceCheck > 0:
		return true, 0, nil
	case goal != nil:
		return false, 0, goal
	}
	n := min(p.RunCycles, p.CheckEvery-c.SinceCheck)
	if p.Cycles > 0 {
		n = min(n, p.Cycles-c.Cycles)
	}
	if p.Hours > 0 && p.Cycle > 0 {
		n = min(n, max(1, int((p.Hours-c.Took)/p.Cycle)))
	}
	return false, n, nil
}

func (p Plan) goal(c Count) *Stop {
	switch {
	case p.Cycles > 0 && c.Cycles >= p.Cycles:
		return stop(Cycles, fmt.Sprintf("%d cycles are done", c.Cycles))
	case p.Hours > 0 && c.Took >= p.Hours-p.Cycle/2:
		return stop(Hours, fmt.Sprintf("%.2f hours are done", c.Took.Hours()))
	}
	return nil
}

// Left returns how long the gait still takes, by the stand's clock.
func (p Plan) Left(c Count) time.Duration {
	left := time.Duration(-1)
	if p.Cycles > 0 {
		left = time.Duration(max(0, p.Cycles-c.Cycles)) * p.Cycle
	}
	if p.Hours > 0 && (left < 0 || p.Hours-c.Took < left) {
		left = max(0, p.Hours-c.Took)
	}
	return left
}
