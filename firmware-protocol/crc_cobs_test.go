package wire

import (
	"bytes"
	"testing"

	"pgregory.net/rapid"
)

func TestCRC(t *testing.T) {
	for _, test := range []struct {
		in   string
		want uint16
		from string
	}{
		{"123456789", 0x29B1, "catalogue of parametrised CRC algorithms, CRC-16/IBM-3740, check"},
		{"", 0xFFFF, "definition: the start value"},
		{"A", 0xB915, "by hand: eight shifts of 0xFFFF ^ 'A'<<8"},
	} {
		if got := CRC([]byte(test.in)); got != test.want {
			t.Errorf("CRC(%q) = 0x%04X, want 0x%04X (%s)", test.in, got, test.want, test.from)
		}
	}
}

// TestCRCBitwise compares the table with the definition, one bit at a time.
func TestCRCBitwise(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOf(rapid.Byte()).Draw(t, "p")
		c := uint16(0xFFFF)
		for _, b := range p {
			for bit := 7; bit >= 0; bit-- {
				top := c>>15 ^ uint16(b>>bit&1)
				c <<= 1
				if top != 0 {
					c ^= 0x1021
				}
			}
		}
		if got := CRC(p); got != c {
			t.Fatalf("CRC(%x) = %04x, bit by bit %04x", p, got, c)
		}
	})
}

// count returns the bytes from, from+1, ... to.
func count(from, to int) (p []byte) {
	for i := from; i <= to; i++ {
		p = append(p, byte(i))
	}
	return p
}

func TestCOBS(t *testing.T) {
	cat := func(parts ...[]byte) []byte { return bytes.Join(parts, nil) }
	paper := "Cheshire and Baker 1999, worked example: the start of an IP packet"
	rule := "by hand from the rules of Cheshire and Baker 1999, table of codes"
	for _, test := range []struct {
		plain, stuffed []byte
		from           string
	}{
		{[]byte{0x45, 0x00, 0x00, 0x2C, 0x4C, 0x79, 0x00, 0x00, 0x40, 0x06, 0x4F, 0x37},
			[]byte{0x02, 0x45, 0x01, 0x04, 0x2C, 0x4C, 0x79, 0x01, 0x05, 0x40, 0x06, 0x4F, 0x37}, paper},
		{nil, []byte{1}, rule},
		{[]byte{0}, []byte{1, 1}, rule},
		{[]byte{0, 0}, []byte{1, 1, 1}, rule},
		{[]byte{0, 0x11, 0}, []byte{1, 2, 0x11, 1}, rule},
		{[]byte{0x11, 0x22, 0, 0x33}, []byte{3, 0x11, 0x22, 2, 0x33}, rule},
		{[]byte{0x11, 0, 0, 0}, []byte{2, 0x11, 1, 1, 1}, rule},
		{count(1, 253), cat([]byte{0xFE}, count(1, 253)), rule},
		{count(1, 254), cat([]byte{0xFF}, count(1, 254)), rule + ": a full block stands for no zero"},
		{count(0, 254), cat([]byte{0x01, 0xFF}, count(1, 254)), rule},
		{count(1, 255), cat([]byte{0xFF}, count(1, 254), []byte{2, 0xFF}), rule},
		{cat(count(2, 255), []byte{0}), cat([]byte{0xFF}, count(2, 255), []byte{1, 1}), rule},
		{cat(count(3, 255), []byte{0, 1}), cat([]byte{0xFE}, count(3, 255), []byte{2, 1}), rule},
	} {
		if got := AppendCOBS(nil, test.plain); !bytes.Equal(got, test.stuffed) {
			t.Errorf("stuffing %x\n got %x\nwant %x (%s)", test.plain, got, test.stuffed, test.from)
		}
		got, ok := DecodeCOBS(bytes.Clone(test.stuffed))
		if !ok || !bytes.Equal(got, test.plain) {
			t.Errorf("unstuffing %x\n got %x, %t\nwant %x (%s)", test.stuffed, got, ok, test.plain, test.from)
		}
	}
	for _, bad := range [][]byte{nil, {0}, {2}, {3, 1}, {2, 0}, {1, 5, 1, 2, 3}, {0xFF, 1}} {
		if got, ok := DecodeCOBS(bytes.Clone(bad)); ok {
			t.Errorf("unstuffing %x gave %x, want a refusal", bad, got)
		}
	}
}

func TestCOBSRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		// Few distinct bytes and long runs, so that full blocks and zeros next to them are met.
		p := rapid.SliceOfN(rapid.SampledFrom([]byte{0, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0xFF}), 0, 1200).Draw(t, "p")
		s := AppendCOBS(nil, p)
		if bytes.IndexByte(s, 0) >= 0 {
			t.Fatalf("zero in %x", s)
		}
		if most := len(p) + 1 + len(p)/254; len(s) > most {
			t.Fatalf("%d bytes became %d, more than %d", len(p), len(s), most)
		}
		got, ok := DecodeCOBS(bytes.Clone(s))
		if !ok || !bytes.Equal(got, p) {
			t.Fatalf("got %x, %t, want %x", got, ok, p)
		}
	})
}
