package stats

import (
	"bufio"
	"bytes"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"limbgauge/analyze/internal/ref"
)

// digits returns how many significant digits of want got agrees to, at most 15.
func digits(got, want float64) float64 {
	if got == want {
		return 15
	}
	d := math.Abs(got - want)
	if want != 0 {
		d /= math.Abs(want)
	}
	return math.Min(15, -math.Log10(d))
}

func atLeast(t *testing.T, name string, got, want, need float64) {
	t.Helper()
	if d := digits(got, want); !(d >= need) {
		t.Errorf("%s = %.15g, certified %.15g: %.1f digits, want %g", name, got, want, d, need)
	}
}

// strd is a file of the NIST Statistical Reference Datasets.
type strd struct{ lines []string }

func openStrd(t *testing.T, path string) strd { return readStrd(ref.File(t, "nist_strd/"+path)) }

func readStrd(data []byte) (s strd) {
	sc := bufio.NewScanner(bytes.NewReader(data))
	for sc.Scan() {
		s.lines = append(s.lines, sc.Text())
	}
	return s
}

func numbers(line string) []float64 {
	var out []float64
	for _, f := range strings.Fields(line) {
		if v, err := strconv.ParseFloat(f, 64); err == nil {
			out = append(out, v)
		}
	}
	return out
}

// after returns the numbers of the first line that starts with prefix, blanks aside.
func (s strd) after(t *testing.T, prefix string) []float64 {
	t.Helper()
	for _, l := range s.lines {
		if strings.HasPrefix(strings.TrimSpace(l), prefix) {
			rest := strings.TrimPrefix(strings.TrimSpace(l), prefix)
			if i := strings.LastIndex(rest, ":"); i >= 0 {
				rest = rest[i+1:]
			}
			if n := numbers(rest); len(n) > 0 {
				return n
			}
		}
	}
	t.Fatalf("no certified %q", prefix)
	return nil
}

// columns returns the data by column, by the line numbers the header gives.
func (s strd) columns(t *testing.T) [][]float64 {
	t.Helper()
	m := regexp.MustCompile(`Data\s+\(lines (\d+) to (\d+)\)`).FindStringSubmatch(strings.Join(s.lines[:15], "\n"))
	if m == nil {
		t.Fatal("the header names no data lines")
	}
	from, _ := strconv.Atoi(m[1])
	to, _ := strconv.Atoi(m[2])
	var cols [][]float64
	for _, l := range s.lines[from-1 : to] {
		for j, v := range numbers(l) {
			if j == len(cols) {
				cols = append(cols, nil)
			}
			cols[j] = append(cols[j], v)
		}
	}
	return cols
}

// reached holds a figure to the digits it is known to reach, and to within one digit of what the
// readings allow once they are doubles. It returns the digits.
func reached(t *testing.T, name string, got, want, exact, need float64) float64 {
	t.Helper()
	atLeast(t, name, got, want, need)
	d := digits(got, want)
	if allowed := digits(exact, want); d < allowed-1 && d < 13.5 {
		t.Errorf("%s: %.1f digits, and doubles allow %.1f", name, d, allowed)
	}
	return d
}

func TestNISTUnivariate(t *testing.T) {
	t.Log("digits reached of the certified figures, and (what doubles allow)")
	for _, row := range []struct {
		file         string
		mean, sd, r1 float64 // digits wanted
	}{
		{"Lew", 15, 14, 14}, {"Lottery", 14, 14, 14}, {"Mavro", 15, 12, 12}, {"Michelso", 15, 13, 13},
		{"NumAcc1", 15, 15, 15}, {"NumAcc2", 14, 14, 14}, {"NumAcc3", 15, 9, 9}, {"NumAcc4", 15, 8, 7.5},
	} {
		s := openStrd(t, "univ/"+row.file+".dat")
		var y []float64
		for i, l := range s.lines {
			if strings.HasPrefix(l, "Data: Y") {
				for _, d := range s.lines[i+2:] {
					y = append(y, numbers(d)...)
				}
			}
		}
		if n := s.after(t, "Number of Observations"); len(y) != int(n[0]) {
			t.Fatalf("%s: %d values, want %g", row.file, len(y), n[0])
		}
		mean, sd, r1 := exactMoments(y)
		cm, cs, cr := s.after(t, "Sample Mean")[0], s.after(t, "Sample Standard Deviation")[0], s.after(t, "Sample Autocorrelation Coefficient")[0]
		t.Logf("%-9s mean %4.1f (%4.1f), sd %4.1f (%4.1f), r1 %4.1f (%4.1f)", row.file,
			reached(t, row.file+" mean", Mean(y), cm, mean, row.mean), digits(mean, cm),
			reached(t, row.file+" sd", SD(y), cs, sd, row.sd), digits(sd, cs),
			reached(t, row.file+" r1", Lag1(y), cr, r1, row.r1), digits(r1, cr))
	}
}

func TestNISTLinear(t *testing.T) {
	t.Log("digits reached of the worst coefficient, its standard deviation, the residual one, and (what doubles allow)")
	for _, row := range []struct {
		file             string
		degree           int // of the polynomial in x; 0 means the columns are the predictors
		noCons           bool
		coef, sd, within float64 // digits wanted; 0 for an exact fit
	}{
		{"Norris", 1, false, 13.5, 13.5, 13.5}, {"Pontius", 2, false, 13, 13, 13}, {"NoInt1", 1, true, 14, 14, 14}, {"NoInt2", 1, true, 14, 14, 14},
		{"Filip", 10, false, 7.5, 7, 7}, {"Longley", 0, false, 14, 11, 14}, {"Wampler1", 5, false, 14.5, 0, 0}, {"Wampler2", 5, false, 13, 0, 0},
		{"Wampler3", 5, false, 14.5, 13, 14}, {"Wampler4", 5, false, 14.5, 13, 14}, {"Wampler5", 5, false, 14.5, 13, 14},
	} {
		s := openStrd(t, "linear/"+row.file+".dat")
		data := s.columns(t)
		y, first := data[0], 0
		var cols [][]float64
		if !row.noCons {
			cols = append(cols, powers(data[1], 0))
		} else {
			first = 1
		}
		for k := 1; k <= row.degree; k++ {
			cols = append(cols, powers(data[1], k))
		}
		if row.degree == 0 {
			cols = append(cols, data[1:]...)
		}
		f, err := OLS(cols, y)
		if err != nil {
			t.Fatalf("%s: %v", row.file, err)
		}
		coef, sd, within := exactFit(cols, y)
		worst := [6]float64{15, 15, 15, 15, 15, 15}
		least := func(i int, d float64) { worst[i] = math.Min(worst[i], d) }
		for j := range f.Coef {
			cert := s.after(t, "B"+strconv.Itoa(j+first)+" ")
			least(0, reached(t, row.file+" coefficient", f.Coef[j], cert[0], coef[j], row.coef))
			least(1, digits(coef[j], cert[0]))
			if cert[1] == 0 {
				// An exact fit; what is left is rounding.
				if !(f.Estimate(j).U < 1e-9) {
					t.Errorf("%s: sd %g of an exact fit", row.file, f.Estimate(j).U)
				}
				continue
			}
			atLeast(t, row.file+" sd of coefficient", f.Estimate(j).U, cert[1], row.sd)
			least(2, digits(f.Estimate(j).U, cert[1]))
			least(3, digits(sd[j], cert[1]))
		}
		if cert := s.after(t, "Standard Deviation "); cert[0] != 0 {
			least(4, reached(t, row.file+" residual sd", f.S, cert[0], within, row.within))
			least(5, digits(within, cert[0]))
		}
		t.Logf("%-9s %4.1f (%4.1f)  %4.1f (%4.1f)  %4.1f (%4.1f)  condition number %.3g", row.file, worst[0], worst[1], worst[2], worst[3], worst[4], worst[5], f.Cond)
	}
}

func powers(x []float64, k int) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = 1
		for range k {
			out[i] *= v
		}
	}
	return out
}

// Norris again as a straight line, to the figures methods of this trade are checked with.
// Check 6e.
func TestNISTNorrisLine(t *testing.T) {
	d := openStrd(t, "linear/Norris.dat").columns(t)
	l, err := FitLine(d[1], d[0])
	if err != nil {
		t.Fatal(err)
	}
	atLeast(t, "intercept", l.Intercept.Value, -0.262323073774029, 11)
	atLeast(t, "sd of intercept", l.Intercept.U, 0.232818234301152, 11)
	atLeast(t, "slope", l.Slope.Value, 1.00211681802045, 13)
	atLeast(t, "sd of slope", l.Slope.U, 0.000429796848199937, 11)
	atLeast(t, "residual sd", l.S, 0.884796396144373, 11)
}

func TestNISTAnova(t *testing.T) {
	t.Log("digits reached of the sums of squares and F, and (what doubles allow of F)")
	for _, row := range []struct {
		file   string
		digits float64
		shared bool // kept out of the repository for its size
	}{
		{"SiRstv", 12.5, false}, {"AtmWtAg", 9.5, false}, {"SmLs01", 14, false}, {"SmLs02", 13, false}, {"SmLs03", 12, true},
		{"SmLs04", 8, false}, {"SmLs05", 8, false}, {"SmLs06", 8, true}, {"SmLs07", 2, false}, {"SmLs08", 2, false}, {"SmLs09", 2, true},
	} {
		t.Run(row.file, func(t *testing.T) {
			var s strd
			if row.shared {
				s = readStrd(ref.Shared(t, "nist_strd/anova/"+row.file+".dat"))
			} else {
				s = openStrd(t, "anova/"+row.file+".dat")
			}
			data := s.columns(t)
			var groups [][]float64
			for i, g := range data[0] {
				for len(groups) < int(g) {
					groups = append(groups, nil)
				}
				groups[int(g)-1] = append(groups[int(g)-1], data[1][i])
			}
			a, err := OneWay(groups)
			if err != nil {
				t.Fatal(err)
			}
			between, within := s.after(t, "Between"), s.after(t, "Within")
			atLeast(t, "df between", a.DFBetween, between[0], 15)
			atLeast(t, "df within", a.DFWithin, within[0], 15)
			atLeast(t, "SS between", a.SSBetween, between[1], row.digits)
			atLeast(t, "SS within", a.SSWithin, within[1], row.digits)
			f := exactF(groups)
			reached(t, "F", a.F, between[3], f, row.digits)
			t.Logf("SS between %4.1f, SS within %4.1f, F %4.1f (%4.1f)", digits(a.SSBetween, between[1]), digits(a.SSWithin, within[1]),
				digits(a.F, between[3]), digits(f, between[3]))
		})
	}
}
