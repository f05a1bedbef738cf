package record

import (
	"math"
	"strconv"
)

// parseDecimal reads a decimal number. ok is false for anything else, also for what strconv would
// take beyond it: nan, inf, hexadecimal digits, underscores.
//
// Most cells have few digits. Those are made of two exact numbers, the digits (below 2^53) and a
// power of ten (at most 10^22), by one division, which IEEE 754 rounds correctly: the result is
// the same as strconv's (W. D. Clinger, How to read floating point numbers accurately, PLDI 1990).
func parseDecimal(b []byte) (v float64, ok bool) {
	const most = 15 // decimal digits that always fit 2^53
	i, neg := 0, false
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		neg, i = b[0] == '-', 1
	}
	digits, after, point := uint64(0), 0, false
	from := i
	for ; i < len(b); i++ {
		switch c := b[i]; {
		case c >= '0' && c <= '9':
			digits = digits*10 + uint64(c-'0')
			if point {
				after++
			}
		case c == '.' && !point:
			point = true
		default:
			return parseSlow(b)
		}
	}
	n := i - from
	if point {
		n--
	}
	if n == 0 {
		return 0, false
	}
	if n > most {
		return parseSlow(b)
	}
	v = float64(digits) / pow10(after)
	if neg {
		v = -v
	}
	return v, true
}

func pow10(n int) float64 {
	p := [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}
	return p[n]
}

func parseSlow(b []byte) (float64, bool) {
	for _, c := range b {
		if (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			return 0, false
		}
	}
	v, err := strconv.ParseFloat(string(b), 64)
	return v, err == nil && !math.IsInf(v, 0)
}
