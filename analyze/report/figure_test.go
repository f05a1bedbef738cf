package report

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// JCGM 100:2008, 7.2.6: an uncertainty to at most two significant digits and the estimate to the
// same place. The first rows are examples of the guide (7.2.6 and the mass standard of 7.2.2 and
// 7.2.4), the others are worked by hand.
func TestFigure(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		value, u float64
		decimals int
		v, pm    string
	}{
		{10.05762, 0.027, 5, "10.058", "0.027"}, // 7.2.6: 10.057 62 Ω with 27 mΩ is 10.058 Ω
		{28.05, 28.05, 0, "28", "28"},           // 7.2.6: 28.05 kHz is 28 kHz
		{100.02147, 0.00035, 1, "100.02147", "0.00035"},
		{100.02147, 0.00079, 1, "100.02147", "0.00079"},

		{0.6244, 0.0413, 3, "0.624", "0.041"},
		{0.6244, 0.413, 3, "0.62", "0.41"},
		{1.2345, 0.0996, 3, "1.23", "0.10"}, // rounds up into the next place
		{1.2345, 0.0994, 3, "1.234", "0.099"},
		{12.345, 9.96, 3, "12", "10"},
		{1234.5, 123, 3, "1230", "120"},
		{1234.5, 99.7, 3, "1230", "100"},
		{1234.5, 12.3, 3, "1234", "12"}, // half of the last place goes to the even digit
		{-0.6244, 0.0413, 3, "−0.624", "0.041"},
		{-0.0001, 0.012, 3, "0.000", "0.012"}, // never minus zero
		{3, 70, 3, "3", "70"},
		{0, 0.5, 3, "0.00", "0.50"},
		{0.001, 0.1, 3, "0.00", "0.10"},

		{12345678, 123, 0, "1.234568e+07", "1.2e+02"}, // too great or small for fixed notation
		{-1.23456789012, 0.0000000012, 3, "−1.2345678901e+00", "1.2e−09"},
		{0, 0.0000000012, 3, "0", "1.2e−09"},
		{2, 34567890, 3, "0", "3.5e+07"},
		{20000000, 9960000, 0, "2.0e+07", "1.0e+07"},

		{0.62449, nan, 3, "0.624", ""},
		{0.62449, 0, 2, "0.62", ""},
		{0.62449, inf, 1, "0.6", ""},
		{5, -1, 0, "5", ""},
		{nan, 0.1, 3, "–", ""},
		{inf, 0.1, 3, "–", ""},
		{-inf, nan, 3, "–", ""},
	} {
		if v, pm := Figure(c.value, c.u, c.decimals); v != c.v || pm != c.pm {
			t.Errorf("%v ± %v: %q ± %q, want %q ± %q", c.value, c.u, v, pm, c.v, c.pm)
		}
	}
}

var leading = regexp.MustCompile(`^0\.0*|^0+`)

// In fixed notation value and uncertainty end at the same place, the uncertainty has two significant
// digits, and neither is off by more than half of the last one.
func TestFigureHoldsItsPlace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.Float64Range(-1e5, 1e5).Draw(t, "value")
		u := math.Pow(10, rapid.Float64Range(-5, 3).Draw(t, "log of u"))
		v, pm := Figure(value, u, 3)
		places := func(s string) int {
			_, frac, _ := strings.Cut(s, ".")
			return len(frac)
		}
		if places(v) != places(pm) {
			t.Fatalf("%v ± %v: %q ± %q end at different places", value, u, v, pm)
		}
		digits := strings.ReplaceAll(leading.ReplaceAllString(pm, ""), ".", "")
		if places(pm) > 0 && len(digits) != 2 || len(strings.TrimRight(digits, "0")) > 2 {
			t.Fatalf("%v: %q has not two significant digits", u, pm)
		}
		half := 0.5 * math.Pow(10, math.Floor(math.Log10(u))-1) * (1 + 1e-6)
		if u >= 9.95*math.Pow(10, math.Floor(math.Log10(u))) {
			half *= 10
		}
		for _, p := range []struct {
			s    string
			want float64
		}{{v, value}, {pm, u}} {
			if got := parse(t, p.s); math.Abs(got-p.want) > half+1e-9 {
				t.Fatalf("%v is written %q, off by more than half of its last place (%g)", p.want, p.s, half)
			}
		}
	})
}

func parse(t *rapid.T, s string) float64 {
	v, err := strconv.ParseFloat(strings.ReplaceAll(s, "−", "-"), 64)
	if err != nil {
		t.Fatalf("%q is no number", s)
	}
	return v
}
