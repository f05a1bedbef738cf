package linktest

// Resample returns what a receiver at one baud rate makes of bytes that were sent at another: the bits of
// 8 data bits, no parity and one stop bit are laid out in time and sampled as a receiver does, the start
// bit and each bit in its middle by its own clock. A byte without its stop bit is delivered as it was
// read, and the receiver waits for the line to rise, as serial ports do that are not told to mark such
// bytes. The line rests before and after.
func Resample(sent []byte, from, to int) []byte {
	if from == to {
		return append([]byte(nil), sent...)
	}
	step := float64(from) / float64(to) // bits sent per bit received
	end := float64(10 * len(sent))
	high := func(t float64) bool {
		n := int(t)
		if t < 0 || n >= 10*len(sent) {
			return true
		}
		switch bit := n % 10; bit {
		case 0:
			return false
		case 9:
			return true
		default:
			return sent[n/10]>>(bit-1)&1 != 0
		}
	}
	// next returns the first edge from t on after which the line has a level. Levels change at whole bits.
	next := func(t float64, level bool) float64 {
		for n := float64(int(t)) + 1; n <= end; n++ {
			if high(n) == level && high(n-0.5) != level {
				return n
			}
		}
		return end
	}
	const early = 1e-6 // a sample on an edge sees what was before it
	var got []byte
	t := 0.0
	for t < end {
		if high(t + step/2 - early) { // a false start
			t = next(t, false)
			continue
		}
		var b byte
		for bit := range 8 {
			if high(t + (1.5+float64(bit))*step - early) {
				b |= 1 << bit
			}
		}
		got = append(got, b)
		stop := t + 9.5*step - early
		if !high(stop) {
			stop = next(stop, true)
		}
		t = next(stop, false)
	}
	return got
}
