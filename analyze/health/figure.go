package health

import (
	"math"
	"strconv"
	"strings"
)

// Figure writes a value and its expanded uncertainty, the uncertainty to two significant digits and
// the value to the same place (JCGM 100:2008, 7.2.6). Very great and very small ones get powers of
// ten. Without an uncertainty (NaN or 0) the value gets the given number of decimals and pm is
// empty. A value that is not there is "–".
func Figure(value, u float64, decimals int) (v, pm string) {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return "–", ""
	}
	if !(u > 0) || math.IsInf(u, 0) {
		if value == 0 {
			return "0", ""
		}
		return Number(value, decimals), ""
	}
	e := int(math.Floor(math.Log10(u)))
	if math.Round(u/math.Pow10(e-1)) >= 100 { // 0.0996 is 0.10, one place up
		e++
	}
	decimals = 1 - e
	if decimals > mostDecimals || math.Abs(value) >= greatest || u >= greatest {
		return powers(value, e), powers(u, e)
	}
	if decimals < 0 {
		step := math.Pow10(-decimals)
		value, u = math.Round(value/step)*step, math.Round(u/step)*step
	}
	return Number(value, decimals), Number(u, decimals)
}

// powers writes v with a power of ten, to the second digit of an uncertainty whose first stands for
// 10^e, and with no more digits than a float64 holds.
func powers(v float64, e int) string {
	steps := math.Round(math.Abs(v) / math.Pow10(e-1))
	if v == 0 || steps == 0 {
		return "0"
	}
	after := int(min(math.Log10(steps), 16))
	return strings.ReplaceAll(strconv.FormatFloat(v, 'e', after, 64), "-", "−")
}

// Where fixed notation stops being readable.
const (
	mostDecimals = 8
	greatest     = 1e7
)

// Number writes v with fixed decimals and a true minus sign, and never minus zero.
func Number(v float64, decimals int) string {
	decimals = max(decimals, 0)
	var s string
	if a := math.Abs(v); a >= greatest || decimals > mostDecimals {
		s = strconv.FormatFloat(v, 'g', 3, 64)
	} else {
		s = strconv.FormatFloat(v, 'f', decimals, 64)
	}
	if strings.HasPrefix(s, "-") {
		if strings.Trim(s, "-0.") == "" {
			return s[1:]
		}
		return "−" + s[1:]
	}
	return s
}

// Plain writes a figure that is exact, such as a limit, with no more digits than it has.
func Plain(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	return strings.Replace(strconv.FormatFloat(v, 'g', 6, 64), "-", "−", 1)
}
