package linktest

import (
	"bytes"
	"math/rand/v2"
	"testing"
)

// TestResample: bytes whose fate at another rate can be worked out on paper.
func TestResample(t *testing.T) {
	for _, c := range []struct {
		name     string
		from, to int
		sent     []byte
		want     []byte
	}{
		// Start and the first bits last twice as long: 0 0 | 1 1 ... reads 0xFE: bit 0 is the rest of the start.
		{"ones at half the rate", 100, 200, []byte{0xFF}, []byte{0xFE}},
		// 18 bit times low: start, eight zeros, a stop that is missing; then the line rises.
		{"zeros at half the rate", 100, 200, []byte{0x00}, []byte{0x00}},
		// Bits 0 and 1 by turns, each as long as two: 0 0 1 1 0 0 1 1 0 0 | 1 1 0 0 ...: start, 0 1 1 0 0 1 1 0,
		// and no stop; then the line rises for two, and 0 0 1 1 0 0 1 1 1 1 is start, 0 1 1 0 0 1 1 1, stop.
		{"by turns at half the rate", 100, 200, []byte{0x55}, []byte{0x66, 0xE6}},
		// Four bits as one: 0x0F is 0 1111 0000 1: the start is a quarter of a bit long, no start at all; the
		// four zeros make one bit, a start, and what follows rests.
		{"four times the rate", 400, 100, []byte{0x0F}, []byte{0xFF}},
		{"the same rate", 500000, 500000, []byte{0, 1, 0xFF}, []byte{0, 1, 0xFF}},
		{"nothing", 100, 200, nil, nil},
	} {
		if got := Resample(c.sent, c.from, c.to); !bytes.Equal(got, c.want) {
			t.Errorf("%s: % X, want % X", c.name, got, c.want)
		}
	}
	// A rate 2 % off is read as it is: a receiver bears half a bit in ten, 5 % (common practice: less, for noise).
	rnd := rand.New(rand.NewPCG(1, 1))
	p := make([]byte, 1000)
	for i := range p {
		p[i] = byte(rnd.IntN(256))
	}
	for _, to := range []int{980, 990, 1010, 1020} {
		if got := Resample(p, 1000, to); !bytes.Equal(got, p) {
			t.Errorf("%d for 1000 baud: not read", to)
		}
	}
	if got := Resample(p, 1000, 900); bytes.Equal(got, p) {
		t.Error("10 % off is read as if nothing were wrong")
	}
}
