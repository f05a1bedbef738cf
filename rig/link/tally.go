package link

import (
	"math"

	"limbgauge/rig"
)

// unwrapper turns the stand's 32-bit time into one that does not wrap. Times may go back a little
// (joints report in turns) and must not be more than half a wrap (35 min) apart.
type unwrapper struct {
	last int64
	seen bool
}

func (u *unwrapper) at(t uint32) int64 {
	if !u.seen {
		u.last, u.seen = int64(t), true
		return u.last
	}
	v := u.last + int64(int32(t-uint32(u.last)))
	u.last = max(u.last, v)
	return v
}

// tally counts what one joint lost.
type tally struct {
	loss   rig.Losses
	known  bool
	next   uint16 // number the next sample should bear
	lastUS int64  // time of the last sample; meaningless before the first
	any    bool
	late   uint16 // the stand's own count as last told
}

// take accounts for n samples that begin with number seq at time us; periodUS is the time between
// samples, 0 when unknown. It reports false for samples that are older than what was taken
// already: a line does not turn frames round, so that such a frame is damaged or repeated.
func (c *tally) take(seq uint16, n int, us, lastUS int64, periodUS float64) bool {
	gap := int(seq - c.next)
	if c.any && us <= c.lastUS {
		c.loss.Damaged++
		return false
	}
	if c.any && periodUS > 0 {
		// The number wraps after 65,536 samples; the clock tells how often it did.
		passed := float64(us-c.lastUS)/periodUS - 1
		gap += 65536 * int(math.Round((passed-float64(gap))/65536))
		if gap < 0 { // the number went back while the time went on
			gap = 0
			c.loss.Damaged++
		}
	}
	c.loss.Lost += gap
	c.next = seq + uint16(n)
	c.lastUS, c.any = lastUS, true
	return true
}

// settle counts what was numbered before seq and did not come, once it can not come any more.
func (c *tally) settle(seq uint16) {
	c.loss.Lost += int(seq - c.next)
	c.next = seq
}
