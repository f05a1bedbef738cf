package wire

import "bytes"

// AppendCOBS appends p to dst with its zeros stuffed away: Consistent Overhead Byte Stuffing of
// Cheshire and Baker (IEEE/ACM Transactions on Networking 7, 1999). No delimiter is added.
// An empty p gives the single byte 0x01.
func AppendCOBS(dst, p []byte) []byte {
	for {
		n := bytes.IndexByte(p, 0)
		if n < 0 {
			n = len(p)
		}
		for n >= 254 {
			dst = append(dst, 0xFF)
			dst = append(dst, p[:254]...)
			p, n = p[254:], n-254
			if len(p) == 0 {
				return dst // a full block at the end stands for no zero, so none is left to encode
			}
		}
		dst = append(dst, byte(n+1))
		dst = append(dst, p[:n]...)
		if n == len(p) {
			return dst
		}
		p = p[n+1:]
	}
}

// DecodeCOBS undoes AppendCOBS in place and returns the front of p that holds the result. It
// reports false when p is empty, holds a zero, or ends in the middle of a block.
func DecodeCOBS(p []byte) ([]byte, bool) {
	if len(p) == 0 {
		return nil, false
	}
	out := 0
	for in := 0; in < len(p); {
		code := int(p[in])
		end := in + code
		if code == 0 || end > len(p) {
			return nil, false
		}
		if bytes.IndexByte(p[in+1:end], 0) >= 0 {
			return nil, false
		}
		out += copy(p[out:], p[in+1:end])
		in = end
		if code != 0xFF && in < len(p) {
			p[out] = 0
			out++
		}
	}
	return p[:out], true
}
