package book

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig/record"
)

// What came to the bench beside the book: whether it comes in by itself or makes the book anew, and
// what is said. However it came in, a rebuild says the same, and opening once more changes nothing
// but tells again what is still wrong.
func TestCatchesUp(t *testing.T) {
	whole := func(id string) (record.Info, *health.Health) {
		h := answer(id, "B", playJoint(0.9, true))
		return runInfo(id, day(8), "B"), &h
	}
	file := func(t *testing.T, dir, text string, at ...string) {
		t.Helper()
		must(t, os.WriteFile(filepath.Join(append([]string{dir}, at...)...), []byte(text), 0o644))
	}
	for _, c := range []struct {
		name    string
		change  func(t *testing.T, dir string)
		took    string
		rebuilt string // why, a part of it
		warns   string // the only warning, a part of it; empty for none
		runs    int
		state   State // of the slack knee, cured before
	}{
		{"nothing", func(*testing.T, string) {}, "", "", "", 4, Cured},
		{"a run came", func(t *testing.T, dir string) { i, h := whole("0005"); writeRun(t, dir, i, h) }, "0005", "", "", 5, Returned},
		{"a run came without an answer", func(t *testing.T, dir string) { i, _ := whole("0005"); writeRun(t, dir, i, nil) }, "0005", "", "", 5, Cured},
		{"two runs came", func(t *testing.T, dir string) {
			i, _ := whole("0005")
			writeRun(t, dir, i, nil)
			i, h := whole("0006")
			writeRun(t, dir, i, h)
		}, "0005 0006", "", "", 6, Returned},
		{"an older run came", func(t *testing.T, dir string) {
			h := answer("0005", "A", found("hip", health.Creep, true))
			writeRun(t, dir, runInfo("0005", day0.Add(1), "A"), &h)
		}, "0005", "", "", 5, Cured},
		{"a run was judged again", func(t *testing.T, dir string) {
			h := answer("0004", "B", playJoint(0.9, true))
			writeRun(t, dir, runInfo("0004", day(6), "B"), &h)
		}, "0004", "", "", 4, Returned},
		{"the newest run was dated later, and judged again", func(t *testing.T, dir string) {
			h := answer("0004", "B", playJoint(0.9, true))
			writeRun(t, dir, runInfo("0004", day(9), "B"), &h)
		}, "0004", "", "", 4, Returned},
		{"a run was sealed", func(t *testing.T, dir string) {
			i := runInfo("0004", day(6), "B")
			i.End = record.End{How: record.Cut, Reason: "the power went away"}
			writeRun(t, dir, i, nil)
		}, "0004", "", "", 4, Answered}, // it no longer proves the cure
		{"a run went", func(t *testing.T, dir string) { must(t, os.RemoveAll(filepath.Join(dir, "runs", "0004"))) }, "", "gone", "", 3, Answered},
		{"an answer is broken", func(t *testing.T, dir string) {
			i, _ := whole("0005")
			writeRun(t, dir, i, nil)
			file(t, dir, "{", "runs", "0005", HealthFile)
		}, "0005", "", `"limbgauge analyze 0005" writes it anew`, 5, Cured},
		{"run.json is broken", func(t *testing.T, dir string) {
			must(t, os.Mkdir(filepath.Join(dir, "runs", "0005"), 0o755))
			file(t, dir, "{", "runs", "0005", "run.json")
		}, "", "", "0005/run.json:1", 4, Cured},
		{"a folder that is no run", func(t *testing.T, dir string) { must(t, os.Mkdir(filepath.Join(dir, "runs", "drawings"), 0o755)) }, "", "", "", 4, Cured},
		{"a run folder was copied", func(t *testing.T, dir string) {
			must(t, os.CopyFS(filepath.Join(dir, "runs", "0005"), os.DirFS(filepath.Join(dir, "runs", "0004"))))
		}, "", "", `it says "0004", but the folder is 0005`, 4, Cured},
		{"a word of history.toml was changed", func(t *testing.T, dir string) {
			data, err := os.ReadFile(filepath.Join(dir, HistoryFile))
			must(t, err)
			file(t, dir, strings.Replace(string(data), "knee/belt_slack", "hip/tight_spot", 1), HistoryFile)
		}, "", HistoryFile, "", 4, Cured},
		{"history.toml has a torn end", func(t *testing.T, dir string) {
			data, err := os.ReadFile(filepath.Join(dir, HistoryFile))
			must(t, err)
			file(t, dir, string(data)+"\n[[service]]\nwh", HistoryFile)
		}, "", "", HistoryFile, 4, Cured},
		{"history.toml went", func(t *testing.T, dir string) { must(t, os.Remove(filepath.Join(dir, HistoryFile))) }, "", HistoryFile, "", 4, Open},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			b, _ := open(t, dir)
			story(t, b)
			must(t, b.Close())
			c.change(t, dir)
			b, o := open(t, dir)
			if got := strings.Join(o.Took, " "); got != c.took || o.Rebuilt != (c.rebuilt != "") || !strings.Contains(o.Why, c.rebuilt) {
				t.Errorf("%+v", o)
			}
			warned := func(list []error) {
				t.Helper()
				if (c.warns == "") != (len(list) == 0) || len(list) > 1 || len(list) == 1 && !strings.Contains(filepath.ToSlash(list[0].Error()), c.warns) {
					t.Errorf("warnings %v, want %q", list, c.warns)
				}
			}
			warned(o.Warnings)
			if rs, _ := b.Runs(t.Context()); len(rs) != c.runs {
				t.Errorf("%d runs, want %d", len(rs), c.runs)
			}
			if p := state(t, b, knee); p.State != c.state {
				t.Errorf("%s, want %s", p.State, c.state)
			}
			live := dump(t, b)
			must(t, b.Close())
			b, o = open(t, dir)
			if o.Rebuilt || len(o.Took) > 0 {
				t.Errorf("caught up twice: %+v", o)
			}
			warned(o.Warnings)
			w, err := b.Rebuild(t.Context())
			must(t, err)
			warned(w)
			if again := dump(t, b); again != live {
				t.Errorf("made anew:\n%s\nwas\n%s", again, live)
			}
		})
	}
}

// The folder is written before the book is opened and told: the run comes in once, with nothing to
// follow anew.
func TestFolderThenBook(t *testing.T) {
	dir := t.TempDir()
	i := runInfo("0001", day(1), "A")
	h := answer("0001", "A", playJoint(0.8, true))
	writeRun(t, dir, i, &h)
	b, _ := open(t, dir)
	before := dump(t, b)
	must(t, b.AddRun(t.Context(), i, h))
	if after := dump(t, b); after != before {
		t.Errorf("told of what it knew:\n%s\nwas\n%s", after, before)
	}
	if p := state(t, b, knee); !slices.Equal(p.Shows, []string{"0001"}) {
		t.Errorf("shown by %v", p.Shows)
	}
	must(t, b.Close())
	if _, o := open(t, dir); o.Rebuilt || len(o.Took) > 0 {
		t.Errorf("%+v", o)
	}
}

// More runs than are followed one by one come in at once, some of them before what is known: they tell
// the same as in a book made anew.
func TestManyRunsCome(t *testing.T) {
	dir := t.TempDir()
	b, _ := open(t, dir)
	story(t, b)
	must(t, b.Close())
	for n := range 2*mostSteps + atOnce {
		i := runInfo(fmt.Sprintf("%04d", 100+n), day(n-20), "B")
		h := answer(i.Run, "B", playJoint(0.9, n%10 == 0))
		writeRun(t, dir, i, &h)
	}
	b, o := open(t, dir)
	if o.Rebuilt || len(o.Took) != 2*mostSteps+atOnce || o.Took[0] != "0100" {
		t.Errorf("%d took, rebuilt %v", len(o.Took), o.Rebuilt)
	}
	live := dump(t, b)
	_, err := b.Rebuild(t.Context())
	must(t, err)
	if dump(t, b) != live {
		t.Error("the rebuilt book differs")
	}
}
