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

func openStrd(t *testing.T, path string) strd {
	var s strd
	sc := bufio.NewScanner(bytes.NewReader(ref.File(t, "nist_strd/"+path)))
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

func TestNISTUnivariate(t *testing.T) {
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
		atLeast(t, row.file+" mean", Mean(y), s.after(t, "Sample Mean")[0], row.mean)
		atLeast(t, row.file+" sd", SD(y), s.after(t, "Sample Standard Deviation")[0], row.sd)
		atLeast(t, row.file+" r1", Lag1(y), s.after(t, "Sample Autocorrelation Coefficient")[0], row.r1)
	}
}

func TestNISTLinear(t *testing.T) {
	for _, row := range []struct {
		file   string
		degree int // of the polynomial in x; 0 means the columns are the predictors
		noCons bool
		digits float64
	}{
		{"Norris", 1, false, 12}, {"Pontius", 2, false, 12}, {"NoInt1", 1, true, 14}, {"NoInt2", 1, true, 14},
		{"Filip", 10, false, 6.5}, {"Longley", 0, false, 11}, {"Wampler1", 5, false, 9}, {"Wampler2", 5, false, 12},
		{"Wampler3", 5, false, 9}, {"Wampler4", 5, false, 7}, {"Wampler5", 5, false, 5},
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
		worst := 15.0
		for j := range f.Coef {
			cert := s.after(t, "B"+strconv.Itoa(j+first)+" ")
			atLeast(t, row.file+" coefficient", f.Coef[j], cert[0], row.digits)
			worst = math.Min(worst, digits(f.Coef[j], cert[0]))
			if cert[1] == 0 {
				// An exact fit; what is left is rounding.
				if !(f.Estimate(j).U < 1e-6) {
					t.Errorf("%s: sd %g of an exact fit", row.file, f.Estimate(j).U)
				}
				continue
			}
			atLeast(t, row.file+" sd of coefficient", f.Estimate(j).U, cert[1], row.digits-1)
		}
		if sd := s.after(t, "Standard Deviation "); sd[0] != 0 {
			atLeast(t, row.file+" residual sd", f.S, sd[0], row.digits)
		}
		t.Logf("%-9s coefficients to %.1f digits, condition number %.3g", row.file, worst, f.Cond)
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
	for _, row := range []struct {
		file   string
		digits float64
	}{
		{"SiRstv", 12}, {"AtmWtAg", 8}, {"SmLs01", 14}, {"SmLs02", 13}, {"SmLs04", 8}, {"SmLs05", 8},
		{"SmLs07", 2}, {"SmLs08", 2},
	} {
		s := openStrd(t, "anova/"+row.file+".dat")
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
		atLeast(t, row.file+" df between", a.DFBetween, between[0], 15)
		atLeast(t, row.file+" df within", a.DFWithin, within[0], 15)
		atLeast(t, row.file+" SS between", a.SSBetween, between[1], row.digits)
		atLeast(t, row.file+" SS within", a.SSWithin, within[1], row.digits)
		atLeast(t, row.file+" F", a.F, between[3], row.digits)
		t.Logf("%-8s F to %.1f digits", row.file, digits(a.F, between[3]))
	}
}
