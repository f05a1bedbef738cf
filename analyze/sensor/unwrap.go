package sensor

import (
	"math"

	"limbgauge/analyze/stats"
)

// Wraps says where a reading ran over the end of its turn.
type Wraps struct {
	Count  int
	FirstS float64 // time of the first reading beyond; NaN when there is none
	// Turns is how many whole turns the whole record was moved, so that it lies beside what it
	// should be near.
	Turns int
}

const (
	// mostTurns bounds what is taken for a wrap: a reading further off is no angle at all.
	mostTurns = 10
	// wrapSlack, deg, is what noise and quanta may add to the motion between two readings.
	wrapSlack = 2.0
)

// Unwrap takes out of x, deg, the jumps of whole turns (turn deg each) between neighbouring readings:
// a jump is one when all but a whole number of turns of it is no more than the sensor can have moved
// at fastest deg/s. near, when not nil, is what x should lie beside: the whole record is moved by
// turns until it does. x is not changed; y is x itself when there was nothing to do.
//
// Not observable: a wrap beside a gap in which the joint may have turned by a quarter turn or more.
func Unwrap(time, x, near []float64, turn, fastest float64) (y []float64, w Wraps) {
	w.FirstS = math.NaN()
	y = x
	shift, last := 0.0, -1
	for i, v := range x {
		if math.IsNaN(v) {
			continue
		}
		if last >= 0 && math.Abs(v-x[last]) > turn/4 { // few are: a whole turn may be in it
			d := v - x[last]
			k := math.Round(d / turn)
			reach := wrapSlack + 1.5*fastest*(time[i]-time[last])
			if k != 0 && math.Abs(k) <= mostTurns && reach < turn/4 && math.Abs(d-k*turn) <= reach {
				if w.Count == 0 {
					w.FirstS = time[i]
					y = append([]float64(nil), x...)
				}
				w.Count++
				shift -= k * turn
			}
		}
		if shift != 0 {
			y[i] = v + shift
		}
		last = i
	}
	if near == nil {
		return y, w
	}
	if beside(y, near, turn/2) {
		return y, w
	}
	off := make([]float64, len(y))
	for i := range y {
		off[i] = y[i] - near[i]
	}
	if m := stats.Median(off); math.Abs(m) > turn/2 && math.Abs(m) < turn*mostTurns {
		w.Turns = -int(math.Round(m / turn))
		moved := make([]float64, len(y))
		for i, v := range y {
			moved[i] = v + float64(w.Turns)*turn
		}
		y = moved
	}
	return y, w
}

// beside reports whether more than half of the readings of y lie within reach of near. Their median
// does so, too, then.
func beside(y, near []float64, reach float64) bool {
	n, close := 0, 0
	for i, v := range y {
		d := math.Abs(v - near[i])
		if d <= reach {
			close++
		}
		if d == d { // no NaN
			n++
		}
	}
	return 2*close > n
}
