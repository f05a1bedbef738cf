package sensor

import "math"

// Clip is a reading that stands at the end of its range.
type Clip struct {
	Level float64 // the greatest reading
	Share float64 // of the readings that stand there for long
	Runs  int
}

const (
	// clipRun is the least number of samples in a row at the greatest value; at any other value the
	// noise of a sound reading leaves no more than clipNatural alike.
	clipRun     = 12
	clipNatural = 5
	// clipShare is the least share of such readings [common practice].
	clipShare = 0.002
)

// FindClip looks for readings that stand at their greatest value again and again although they vary
// everywhere else, as those of an amplifier at its end do. ok is false where there is no such thing, and
// where the reading is without noise, so that it stands still elsewhere too.
func FindClip(x []float64) (c Clip, ok bool) {
	c.Level = math.Inf(-1)
	n := 0
	for _, v := range x {
		if !math.IsNaN(v) {
			c.Level = math.Max(c.Level, v)
			n++
		}
	}
	natural, at := 0, 0
	for i := 0; i < len(x); {
		k := i + 1
		for k < len(x) && x[k] == x[i] {
			k++
		}
		switch run := k - i; {
		case x[i] != c.Level:
			natural = max(natural, run)
		case run >= clipRun:
			c.Runs++
			at += run
		}
		i = k
	}
	if n > 0 {
		c.Share = float64(at) / float64(n)
	}
	return c, c.Runs >= 2 && natural <= clipNatural && c.Share >= clipShare
}
