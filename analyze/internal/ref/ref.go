// Package ref opens reference data for tests: what lies in testdata/ of this repository, and what
// lies in the folder `shared` beside it and may not be copied.
package ref

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// RequireAll is the environment variable that turns skips for want of shared data into failures.
const RequireAll = "LIMBGAUGE_REQUIRE_ALL"

// Near fails the test when got is not within tol of want. from names the source of want.
func Near(t testing.TB, name string, got, want, tol float64, from string) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.12g, want %.12g ± %g (%s)", name, got, want, tol, from)
	}
}

// Root returns the folder that holds go.mod.
func Root(t testing.TB) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Fatal("no go.mod in the folders above the test")
		}
		dir = up
	}
}

// File reads a file of testdata/.
func File(t testing.TB, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(Root(t), "testdata", path))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// JSON reads a JSON file of testdata/ into v.
func JSON(t testing.TB, path string, v any) {
	t.Helper()
	if err := json.Unmarshal(File(t, path), v); err != nil {
		t.Fatalf("%s: %v", path, err)
	}
}

// Shared reads a file of shared/refdata. The test is skipped where it is absent, and fails when
// RequireAll is "1".
func Shared(t testing.TB, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(Root(t), "..", "shared", "refdata", path))
	switch {
	case err == nil:
		return data
	case os.Getenv(RequireAll) == "1":
		t.Fatal(err)
	}
	t.Skipf("reference data not here: %v", err)
	return nil
}

// Rows splits CSV data into its rows without the heading.
func Rows(t testing.TB, data []byte) [][]string {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(string(data))).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("reference data: %d rows, %v", len(rows), err)
	}
	return rows[1:]
}

// Columns turns CSV data into columns of numbers, a NaN where a field is empty or no number.
func Columns(t testing.TB, data []byte) [][]float64 {
	t.Helper()
	rows := Rows(t, data)
	cols := make([][]float64, len(rows[0]))
	for _, r := range rows {
		for j, f := range r {
			v, err := strconv.ParseFloat(strings.TrimSpace(f), 64)
			if err != nil {
				v = math.NaN()
			}
			cols[j] = append(cols[j], v)
		}
	}
	return cols
}

// Num reads one number or fails the test.
func Num(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
