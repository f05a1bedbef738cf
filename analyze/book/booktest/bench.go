// Package booktest makes large benches for benchmarks: run folders as a recording and its analysis leave
// them, but for the samples, and a history. What the joints do is drawn at random; it is no model of a
// leg.
package booktest

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"
	"time"

	"limbgauge/analyze/health"
	"limbgauge/rig"
	"limbgauge/rig/record"
)

// Runs is how many runs the benches of the benchmarks hold.
const Runs = 10_000

// DirVariable names a folder in which the bench is kept, so that it is made once only.
const DirVariable = "LIMBGAUGE_BOOK_BENCH_DIR"

// Joints are those of every run.
func Joints() []string { return []string{"yaw", "hip", "knee"} }

// Revisions of the bench: A holds the first half of the runs, B the other.
const RevisionA, RevisionB = "A", "B"

// Runs are two a day, five make an assembly, and after a hundred there is a service.
const (
	perDay      = 2
	perAssembly = 5
	perService  = 100
	perFault    = 50
)

var first = time.Date(2012, 3, 1, 9, 0, 0, 0, time.UTC)

// When returns the time of a run, counted from 1.
func When(n int) time.Time { return first.Add(time.Duration(n) * 24 * time.Hour / perDay) }

// Make returns the folder of a bench of so many runs, without a book. It is made in a folder of its own
// unless DirVariable names one; there it is only made where it is missing.
func Make(tb testing.TB, runs int) string {
	tb.Helper()
	dir := os.Getenv(DirVariable)
	if dir == "" {
		dir = tb.TempDir()
	} else if _, err := os.Stat(filepath.Join(dir, "history.toml")); err == nil {
		return dir
	}
	MakeIn(tb, dir, runs)
	return dir
}

// MakeIn makes a bench of so many runs in a folder, half of them with each revision.
func MakeIn(tb testing.TB, dir string, runs int) {
	tb.Helper()
	m := NewMaker(tb)
	m.half = runs / 2
	for n := 1; n <= runs; n++ {
		m.Run(tb, dir, n)
	}
	text := ""
	for i, name := range []string{RevisionA, RevisionB} {
		text += fmt.Sprintf("[[revision]]\nname = %q\nmade = %s\n", name, When(1+i*runs/2).Add(-time.Hour).Format(time.RFC3339))
		if i > 0 {
			text += fmt.Sprintf("parent = %q\n", RevisionA)
		}
	}
	for n := perService; n < runs; n += perService {
		text += fmt.Sprintf("[[service]]\nwhen = %s\nwhat = \"belt re-tensioned\"\njoint = \"knee\"\npart = \"belt\"\n", When(n).Add(time.Hour).Format(time.RFC3339))
		if n%(10*perService) == 0 {
			text += "replaced = true\n"
		}
	}
	write(tb, filepath.Join(dir, "bench.toml"), []byte(rig.ExampleBench()))
	write(tb, filepath.Join(dir, "history.toml"), []byte(text)) // last: what has it is whole
}

// Maker writes run folders.
type Maker struct {
	good, bad [][]byte // of an answer, cut where figures stand
	half      int      // the last run with the first revision
	joints    []record.JointInfo
}

// A figure of the answer's pattern: its number after this.
const figure = 1_000_000_000

// NewMaker prepares the pattern of an answer: 45 measures of each joint, of which a quarter could not
// be seen.
func NewMaker(tb testing.TB) *Maker {
	m := &Maker{half: Runs / 2}
	for _, bad := range []bool{false, true} {
		h := health.Health{Schema: health.Schema, Run: "RUN", Leg: "fore-left", Revision: "REVISION", Decision: health.DecisionRule}
		for _, name := range Joints() {
			h.Joints = append(h.Joints, m.joint(name, bad && name == "knee"))
		}
		data, err := json.MarshalIndent(h, "", "  ")
		if err != nil {
			tb.Fatal(err)
		}
		pattern := regexp.MustCompile(strconv.Itoa(figure)[:5]+`\d{5}`).ReplaceAll(data, []byte("\x00"))
		if bad {
			m.bad = bytes.Split(pattern, []byte("\x00"))
		} else {
			m.good = bytes.Split(pattern, []byte("\x00"))
		}
	}
	for i, name := range Joints() {
		j := rig.DefaultJoint(i)
		j.Name, j.Belt = name, &rig.Belt{Teeth: 20, PitchMM: 2, Ratio: 1}
		j.RangeDeg = [2]float64{-75, 75}
		routine, err := rig.BuiltinRoutine("quick", j)
		if err != nil {
			tb.Fatal(err)
		}
		travel, reversals, rest := 3600.0, 480, 6.18
		m.joints = append(m.joints, record.JointInfo{Setup: j, Moves: routine.Moves, Samples: 46_000, LastUS: 184_000_000,
			TravelDeg: &travel, Reversals: &reversals, SupplyRestV: &rest})
	}
	return m
}

func (m *Maker) joint(name string, bad bool) health.Joint {
	const method = "as a real one: a line or two of words that say how the figure was got, by which standard, and with which interval"
	j := health.Joint{Joint: name}
	paths := []health.Path{health.Total, health.Servo}
	for _, p := range paths {
		for k, d := range health.Definitions() {
			if p == health.Servo && k >= 8 { // 37 and 8 are 45
				break
			}
			if k%4 == 3 {
				j.Measures = append(j.Measures, health.Unseen(d.Name, p, method, "no part of the run shows it; the routine shake does"))
				continue
			}
			x := health.Of(d.Name, p, 0, 0.05, method)
			if limit := 0.5; d.Name == "play" || d.Name == "compliance" || d.Name == "friction" {
				x.Value = 0.2
				if bad && d.Name == "play" {
					x.Value = 0.9
				}
				x = health.Judge(x, limit)
				x.LimitFrom = health.FromBench
			}
			x.Value = figure + float64(k)
			j.Measures = append(j.Measures, x)
		}
	}
	j.Findings = []health.Finding{{Cause: health.None, Severity: health.SeverityOK, Evidence: []string{}, CouldAlsoBe: []string{}}}
	if bad {
		j.Findings = []health.Finding{{Cause: health.BeltSlack, Severity: health.SeverityFault, Confidence: 0.9, Part: "belt",
			Evidence: []string{"play 0.900 ± 0.050 deg in the transmission, limit 0.5"}, CouldAlsoBe: []string{"horn_slip"}, Next: "re-tension the belt"}}
	}
	return j
}

// Info returns run.json of run n, counted from 1.
func (m *Maker) Info(n int) record.Info {
	revision := RevisionA
	if n > m.half {
		revision = RevisionB
	}
	return record.Info{Schema: record.Schema, Run: fmt.Sprintf("%04d", n), State: record.Sealed, Started: When(n), Leg: "fore-left", Revision: revision,
		Routine: "assembly", Stand: record.Stand{Port: "virtual", SampleHz: 250}, Conditions: record.Conditions{Assembly: fmt.Sprintf("a%d", (n-1)/perAssembly)},
		Joints: m.joints, End: record.End{How: record.Complete}}
}

// Answer returns health.json of run n.
func (m *Maker) Answer(n int) []byte {
	r := rand.New(rand.NewPCG(uint64(n), 1))
	parts := m.good
	if n%perFault == 0 {
		parts = m.bad
	}
	out := bytes.Replace(parts[0], []byte(`"RUN"`), []byte(fmt.Sprintf("%q", m.Info(n).Run)), 1)
	out = bytes.Replace(out, []byte(`"REVISION"`), []byte(fmt.Sprintf("%q", m.Info(n).Revision)), 1)
	for _, p := range parts[1:] {
		out = strconv.AppendFloat(out, 0.2+0.02*r.NormFloat64(), 'g', 9, 64)
		out = append(out, p...)
	}
	return append(out, '\n')
}

// Run writes the folder of run n.
func (m *Maker) Run(tb testing.TB, dir string, n int) {
	tb.Helper()
	i := m.Info(n)
	d := record.RunDir(dir, i.Run)
	if err := os.MkdirAll(d, 0o755); err != nil {
		tb.Fatal(err)
	}
	info, err := json.MarshalIndent(i, "", "  ")
	if err != nil {
		tb.Fatal(err)
	}
	write(tb, filepath.Join(d, "run.json"), append(info, '\n'))
	write(tb, filepath.Join(d, "health.json"), m.Answer(n))
}

// write puts a file in place as commands do: a new one in the place of the old.
func write(tb testing.TB, path string, data []byte) {
	tb.Helper()
	if err := os.WriteFile(path+".tmp", data, 0o644); err != nil {
		tb.Fatal(err)
	}
	if err := os.Rename(path+".tmp", path); err != nil {
		tb.Fatal(err)
	}
}
