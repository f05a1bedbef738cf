package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"limbgauge/analyze/health"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"limbgauge": func() { os.Exit(mainCode()) }})
}

// TestScriptsAlone runs what keeps time with the clock, which scripts beside it would take the processor from.
func TestScriptsAlone(t *testing.T) { scripts(t, "testdata/alone") }

// TestScripts runs the command as a user types it, in an empty folder.
func TestScripts(t *testing.T) { scripts(t, "testdata/script") }

func scripts(t *testing.T, dir string) {
	testscript.Run(t, testscript.Params{
		Dir: dir,
		Setup: func(e *testscript.Env) error {
			e.Setenv("HOME", e.WorkDir)
			e.Setenv("TZ", "UTC")
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"waitfor": waitFor,
			"tear":    tear,
			"code":    exitsWith,
			"line":    changeLine,
			"agree":   sameAnswers,
		},
	})
}

// waitFor FILE PATTERN waits until a file holds a pattern; without a pattern until it is there.
func waitFor(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 1 || len(args) > 2 {
		ts.Fatalf("usage: waitfor file [pattern]")
	}
	var re *regexp.Regexp
	if len(args) == 2 {
		re = regexp.MustCompile(args[1])
	}
	path := ts.MkAbs(args[0])
	for range 400 {
		found, err := filepath.Glob(path)
		if err == nil && len(found) > 0 {
			if re == nil {
				return
			}
			if data, err := os.ReadFile(found[0]); err == nil && re.Match(data) {
				return
			}
		}
		time.Sleep(50 * time.Millisecond)
	}
	ts.Fatalf("%s did not come within 20 s", args[0])
}

// tear FILE N cuts the last N bytes off a file.
func tear(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: tear file bytes")
	}
	n, err := strconv.ParseInt(args[1], 10, 64)
	ts.Check(err)
	path := ts.MkAbs(args[0])
	st, err := os.Stat(path)
	ts.Check(err)
	ts.Check(os.Truncate(path, st.Size()-n))
}

// exitsWith N COMMAND... runs limbgauge in the script's folder and wants that exit code.
func exitsWith(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: code N command...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	err = ts.Exec(args[1], args[2:]...)
	got := 0
	if e, ok := err.(interface{ ExitCode() int }); ok {
		got = e.ExitCode()
	} else if err != nil {
		ts.Fatalf("%v", err)
	}
	if got != want {
		ts.Fatalf("exit code %d, want %d\n%s", got, want, ts.ReadFile("stderr"))
	}
}

// changeLine FROM TO N OLD NEW copies a file with OLD replaced by NEW in line N (0: in all lines).
func changeLine(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 5 {
		ts.Fatalf("usage: line from to number old new")
	}
	n, err := strconv.Atoi(args[2])
	ts.Check(err)
	lines := strings.SplitAfter(ts.ReadFile(args[0]), "\n")
	changed := false
	for i := range lines {
		if n == 0 || i == n-1 {
			s := strings.ReplaceAll(lines[i], args[3], args[4])
			changed = changed || s != lines[i]
			lines[i] = s
		}
	}
	if !changed {
		ts.Fatalf("%s holds no %q in line %d", args[0], args[3], n)
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), []byte(strings.Join(lines, "")), 0o644))
}

// sameAnswers, as agree A B, wants two answers in JSON to be of the same measures, each with the same verdict and with values
// that lie no further apart than twice their uncertainties together, as fifty measures may, and to have the same causes.
func sameAnswers(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: agree a b")
	}
	var h [2]health.Health
	for i, name := range args {
		ts.Check(json.Unmarshal([]byte(ts.ReadFile(name)), &h[i]))
	}
	if len(h[0].Joints) == 0 || len(h[0].Joints) != len(h[1].Joints) {
		ts.Fatalf("%d and %d joints", len(h[0].Joints), len(h[1].Joints))
	}
	for i, a := range h[0].Joints {
		b := h[1].Joints[i]
		if len(a.Measures) == 0 || len(a.Measures) != len(b.Measures) || len(a.Findings) != len(b.Findings) {
			ts.Fatalf("%d and %d measures, %d and %d findings", len(a.Measures), len(b.Measures), len(a.Findings), len(b.Findings))
		}
		bare := 0
		for k, m := range a.Measures {
			n := b.Measures[k]
			if m.Status != n.Status { // what is barely seen may not be in the other
				if bare++; bare > len(a.Measures)/10 {
					ts.Fatalf("%d statuses differ, the last of\n%+v\nbeside\n%+v", bare, m, n)
				}
			}
			if m.Name != n.Name || m.Path != n.Path || m.Verdict != n.Verdict ||
				m.Status == health.Measured && n.Status == health.Measured && math.Abs(m.Value-n.Value) > 2*(m.Uncertainty+n.Uncertainty) {
				ts.Fatalf("%+v\nis beside\n%+v", m, n)
			}
		}
		for k, f := range a.Findings {
			if f.Cause != b.Findings[k].Cause {
				ts.Fatalf("%s is beside %s", f.Cause, b.Findings[k].Cause)
			}
		}
	}
}
