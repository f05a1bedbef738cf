package link

import (
	"slices"
	"time"
)

// ClockFit places the stand's time on the host's clock. It serves the calendar only: within a run
// the stand's own time counts.
type ClockFit struct {
	DeviceUS int64         // a moment of the stand ...
	Host     time.Time     // ... and of the host
	Doubt    time.Duration // half the round trip of that exchange: the moment is no further off
	RatePPM  float64       // how much faster the stand's clock runs than the host's; 0 until known
	N        int           // exchanges seen
}

// At returns the host's time for a moment of the stand.
func (f ClockFit) At(us int64) time.Time {
	d := float64(us-f.DeviceUS) * 1e3 / (1 + f.RatePPM*1e-6)
	return f.Host.Add(time.Duration(d))
}

// exchange is one question for the time and its answer.
type exchange struct {
	host   time.Time // middle between sending and receiving
	trip   time.Duration
	device int64
}

// clock keeps the last exchanges.
type clock struct {
	last []exchange
	n    int
}

const clockKeep = 64

func (c *clock) add(e exchange) {
	c.n++
	if len(c.last) == clockKeep {
		c.last = c.last[1:]
	}
	c.last = append(c.last, e)
}

// fit takes the exchange with the shortest round trip for the offset, and the line through the
// better half for the rate, once they span 5 s.
func (c *clock) fit() ClockFit {
	if len(c.last) == 0 {
		return ClockFit{}
	}
	good := slices.Clone(c.last)
	slices.SortFunc(good, func(a, b exchange) int { return int(a.trip - b.trip) })
	best := good[0]
	f := ClockFit{DeviceUS: best.device, Host: best.host, Doubt: best.trip / 2, N: c.n}
	good = good[:(len(good)+1)/2]
	var sx, sy, sxx, sxy float64
	lo, hi := 0.0, 0.0
	for _, e := range good {
		x := float64(e.host.Sub(best.host)) / 1e3 // us
		y := float64(e.device-best.device) - x    // us ahead
		sx, sy, sxx, sxy = sx+x, sy+y, sxx+x*x, sxy+x*y
		lo, hi = min(lo, x), max(hi, x)
	}
	if n := float64(len(good)); hi-lo >= 5e6 {
		f.RatePPM = (n*sxy - sx*sy) / (n*sxx - sx*sx) * 1e6
	}
	return f
}
