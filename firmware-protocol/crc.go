package wire

// crcTable holds the CRC of each single byte; it is never written after start.
var crcTable = makeCRCTable()

func makeCRCTable() (t [256]uint16) {
	const poly = 0x1021
	for i := range t {
		c := uint16(i) << 8
		for range 8 {
			if c&0x8000 != 0 {
				c = c<<1 ^ poly
			} else {
				c <<= 1
			}
		}
		t[i] = c
	}
	return t
}

// CRC returns the CRC-16/IBM-3740 of p: polynomial 0x1021, start value 0xFFFF, neither reflected
// nor inverted. The digits "123456789" give 0x29B1 (catalogue of parametrised CRC algorithms,
// where CCITT-FALSE is an older name of the same).
func CRC(p []byte) uint16 {
	c := uint16(0xFFFF)
	for _, b := range p {
		c = c<<8 ^ crcTable[byte(c>>8)^b]
	}
	return c
}
