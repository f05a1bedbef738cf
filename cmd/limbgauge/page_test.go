package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// in runs a command line in a bench and returns what it printed.
func in(t testing.TB, bench string, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(context.Background(), append([]string{"-b", bench}, args...), strings.NewReader(""), &o, &e)
	return code, o.String(), e.String()
}

// longNames is a bench whose names are as long as a builder may make them.
func longNames(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	must := func(args ...string) {
		t.Helper()
		if code, _, errs := in(t, dir, args...); code != 0 {
			t.Fatalf("limbgauge %s: exit code %d: %s", strings.Join(args, " "), code, errs)
		}
	}
	must("init", dir)
	path := filepath.Join(dir, benchFile)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	name := "knee-of-the-fore-left-leg-膝関節"
	text = bytes.ReplaceAll(text, []byte(`name = "knee"`), []byte(`name = "`+name+`"`))
	text = bytes.ReplaceAll(text, []byte(`knee = "knee"`), []byte(`knee = "`+name+`"`))
	if err := os.WriteFile(path, text, 0o644); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "a_part_with_a_name_that_someone_thought_would_explain_all_of_it.stl")
	if err := os.WriteFile(file, []byte("solid"), 0o644); err != nil {
		t.Fatal(err)
	}
	must("rev", "add", "A", "--part", "femur="+file, "--why", "the first print, before anybody knew that the belt pulls the tower over")
	must("rev", "add", "B-with-a-rib-along-the-whole-belt", "--from", "A", "--why", strings.Repeat("a reason that needs many words ", 6))
	for _, more := range [][]string{{"--fault", "servo_play=3"}, {"-r", "A"}, {"--bare-servo"}} {
		must(append([]string{"sweep", name, "--yes", "--speed", "0", "--routine", "quick", "--assembly", "the-third-assembly-of-this-leg"}, more...)...)
	}
	must("service", "add", strings.Repeat("screw tightened and ", 6), "--joint", name, "--part", "the bracket that holds the sensor of the joint")
	must("calibrate", "supply", name, "--point", "4.9=5.0", "--point", "6.1=6.2", "--within", "0.01", "--name", "the-good-meter-from-the-cupboard-upstairs", "--use")
	return dir
}

// No line of an answer is wider than 80 cells, whatever the names.
func TestAnswersFitThePage(t *testing.T) {
	bench := longNames(t)
	problem := "1"
	for _, line := range []string{
		"", "runs", "runs --joint knee-of-the-fore-left-leg-膝関節", "check", "seal", "analyze 0001", "analyze 0001 --all", "compare 0001 0002 --all --why",
		"problem list --history", "problem show " + problem, "problem list --revision A", "rev list", "rev tree", "rev show A", "rev show A B-with-a-rib-along-the-whole-belt",
		"rev part femur", "service list", "calibrate list", "calibrate show the-good-meter-from-the-cupboard-upstairs", "budget", "budget --map", "rebuild",
		"trend", "trend knee-of-the-fore-left-leg-膝関節 --all", "trend knee-of-the-fore-left-leg-膝関節 --measure friction",
		"endure knee-of-the-fore-left-leg-膝関節 --cycles 30 --check-every 20 --yes --speed 0",
		"sweep knee-of-the-fore-left-leg-膝関節 --yes --speed 0 --routine quick", "exit-codes", "help exit-codes",
	} {
		_, out, errs := in(t, bench, strings.Fields(line)...)
		if out == "" {
			t.Errorf("limbgauge %s says nothing: %s", line, errs)
		}
		for l := range strings.Lines(out) {
			if n := cells(strings.TrimRight(l, "\n")); n > pageWidth {
				t.Errorf("limbgauge %s: %d cells: %s", line, n, l)
			}
		}
	}
}
