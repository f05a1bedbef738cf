package book

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"limbgauge/analyze/health"
)

const good = `# by hand
[[revision]]
name = "A"
made = 2026-03-01T09:00:00Z

[[revision.part]]
name = "femur"
file = "femur.stl"
sha256 = "aa"
bytes = 7

[[service]]
when = 2026-03-02T09:00:00Z
what = "belt re-tensioned"
joint = "knee"
`

func TestHistoryReads(t *testing.T) {
	h, err := parseHistory("history.toml", good)
	must(t, err)
	if len(h.Revisions) != 1 || len(h.Services) != 1 || h.Torn != nil || h.Revisions[0].Parts[0].Bytes != 7 || h.Services[0].ID != 1 {
		t.Errorf("%+v", h)
	}
}

// Each way a hand can spoil the file: which line and key the error names.
func TestBrokenHistory(t *testing.T) {
	for _, c := range []struct {
		name, block string
		line        int // within the block
		says        []string
	}{
		{"unknown key", "[[service]]\nwhen = 2026-03-03T09:00:00Z\nwhat = \"x\"\ncolour = \"red\"\n", 4, []string{"colour"}},
		{"no value", "[[service]]\nwhen = 2026-03-03T09:00:00Z\nwhat =\n", 3, nil},
		{"wrong type", "[[service]]\nwhen = 2026-03-03T09:00:00Z\nwhat = 7\n", 3, []string{"what"}},
		{"wrong time", "[[service]]\nwhen = \"yesterday\"\nwhat = \"x\"\n", 2, []string{"when", "yesterday"}},
		{"twice the same key", "[[service]]\nwhen = 2026-03-03T09:00:00Z\nwhat = \"x\"\nwhat = \"y\"\n", 4, []string{"what"}},
		{"a key is missing", "[[service]]\nwhat = \"x\"\n", 1, []string{"when"}},
		{"a note without cause", "[[note]]\nwhen = 2026-03-03T09:00:00Z\njoint = \"knee\"\ntext = \"x\"\n", 1, []string{"cause"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			start := strings.Count(good, "\n") // 0-based line on which the block begins
			_, err := parseHistory("bench/history.toml", good+c.block+"\n[[service]]\nwhen = 2026-03-09T09:00:00Z\nwhat = \"later\"\n")
			var he *HistoryError
			if !errors.As(err, &he) || he.Line != start+c.line {
				t.Fatalf("line %d wanted: %+v", start+c.line, err)
			}
			for _, w := range append(c.says, "bench/history.toml", "by hand") {
				if !strings.Contains(err.Error(), w) {
					t.Errorf("says nothing of %q: %v", w, err)
				}
			}
			// The same block at the end of the file is taken for torn, and the rest is used.
			h, err := parseHistory("bench/history.toml", good+c.block)
			if err != nil || h.Torn == nil || h.Torn.Line != start+c.line || len(h.Revisions) != 1 || len(h.Services) != 1 {
				t.Errorf("torn: %+v, %v", h, err)
			}
		})
	}
}

// A power cut may end the file at any byte: reading never fails, and what stood before is there.
func TestTornAnywhere(t *testing.T) {
	block := "\n[[service]]\nwhen = 2026-03-03T09:00:00Z\nwhat = 'screw tightened'\njoint = 'hip'\nanswers = ['hip/high_friction']\n"
	for n := range len(block) {
		h, err := parseHistory("h", good+block[:n])
		if err != nil || len(h.Revisions) != 1 || len(h.Services) < 1 || h.Services[0].What != "belt re-tensioned" {
			t.Fatalf("cut after %q: %+v, %v", block[:n], h, err)
		}
	}
}

// Whatever is written is read back, and a torn file is refused instead of written over.
func TestAppendAndRefuse(t *testing.T) {
	dir := t.TempDir()
	odd := "tightened \"again\"\n[[note]]\n'''\\ é"
	must(t, appendHistory(dir, historyBlock{Service: []Service{{When: day(0), What: odd}}}))
	must(t, appendHistory(dir, historyBlock{Note: []Note{{When: day(1), Joint: "knee", Cause: health.Creep, Text: odd}}}))
	h, err := ReadHistory(dir)
	if err != nil || len(h.Services) != 1 || h.Services[0].What != odd || !h.Services[0].When.Equal(day(0)) || h.Notes[0].Text != odd {
		t.Fatalf("%+v, %v", h, err)
	}
	path := filepath.Join(dir, HistoryFile)
	data, err := os.ReadFile(path)
	must(t, err)
	torn := string(data) + "\n[[service]]\nwh"
	must(t, os.WriteFile(path, []byte(torn), 0o644))
	err = appendHistory(dir, historyBlock{Service: []Service{{When: day(2), What: "x"}}})
	var he *HistoryError
	if !errors.As(err, &he) {
		t.Errorf("appended after a torn block: %v", err)
	}
	if after, _ := os.ReadFile(path); string(after) != torn {
		t.Error("the file changed")
	}
	b, o := open(t, dir)
	if len(o.Warnings) != 1 || !errors.As(o.Warnings[0], &he) {
		t.Errorf("%+v", o)
	}
	if s, _ := b.Services(t.Context()); len(s) != 1 {
		t.Errorf("%+v", s)
	}
}

// Whatever the format allows a hand may write; none of it is taken for torn.
func TestWhatHandsWrite(t *testing.T) {
	note := "\n[[note]]\nwhen = 2026-03-09T09:00:00Z\njoint = \"knee\"\ncause = \"creep\"\ntext = \"\"\"\nsee\n[1] the drawing\n[[service]]\n\"\"\"\n"
	for name, text := range map[string]string{
		"CRLF":                        strings.ReplaceAll(good, "\n", "\r\n"),
		"byte order mark":             "\ufeff" + good,
		"no newline at the end":       strings.TrimSuffix(good, "\n"),
		"spaces in a head":            strings.ReplaceAll(good, "[[revision.part]]", "  [[ revision.part ]] # the femur"),
		"lists over lines":            good + "answers = [\n  \"knee/creep\",\n  \"hip/creep\",\n]\n",
		"inline tables":               "service = [{ when = 2026-03-02T09:00:00Z, what = \"belt re-tensioned\" }]\nrevision = [{ name = \"A\", made = 2026-03-01T09:00:00Z, part = [\n  { name = \"femur\" },\n] }]\n",
		"brackets in a long text":     good + note + "[[note]]\nwhen = 2026-03-09T09:00:00Z\njoint = \"knee\"\ncause = \"creep\"\n",
		"another zone and a bare day": strings.Replace(strings.Replace(good, "2026-03-01T09:00:00Z", "2026-03-01T11:00:00+02:00", 1), "2026-03-02T09:00:00Z", "2026-03-02", 1),
		"comments only in between":    strings.ReplaceAll(good, "[[service]]", "# [[service]] not yet\n[[service]] # now"),
	} {
		t.Run(name, func(t *testing.T) {
			h, err := parseHistory("h", text)
			if err != nil || h.Torn != nil || len(h.Revisions) != 1 || len(h.Services) != 1 || len(h.Revisions[0].Parts) != 1 || !h.Revisions[0].Made.Equal(day(0)) {
				t.Errorf("%+v, %v", h, err)
			}
		})
	}
	// Nor does a torn end cost what stands before it.
	h, err := parseHistory("h", strings.ReplaceAll(good, "[[revision.part]]", "[[ revision.part ]]")+"\n[[serv")
	if err != nil || h.Torn == nil || len(h.Revisions) != 1 || len(h.Revisions[0].Parts) != 1 || len(h.Services) != 1 {
		t.Errorf("%+v, %v", h, err)
	}
	if h, err := parseHistory("h", "# nothing yet\n"); err != nil || h.Torn != nil {
		t.Errorf("%+v, %v", h, err)
	}
}

// Zeros, as a power cut may leave them, cost no block but their own.
func TestZerosAtTheEnd(t *testing.T) {
	h, err := parseHistory("h", good+"\n"+strings.Repeat("\x00", 600))
	if err != nil || h.Torn == nil || h.Torn.Line != strings.Count(good, "\n")+2 || len(h.Revisions) != 1 || len(h.Services) != 1 {
		t.Errorf("%+v, %v", h, err)
	}
}

// A block that can not be written leaves the file as it was, and nothing beside it.
func TestWrittenWholeOrNotAtAll(t *testing.T) {
	service := func(what string) historyBlock {
		return historyBlock{Service: []Service{{When: day(0), What: what, Answers: []string{"knee/creep"}}}}
	}
	for name, c := range map[string]struct {
		prepare func(t *testing.T, dir string)
		what    string
	}{
		"no plain text": {func(*testing.T, string) {}, "a\xffb"},
		"the new file is in use": {func(t *testing.T, dir string) {
			must(t, os.MkdirAll(filepath.Join(dir, HistoryFile+".tmp", "x"), 0o755))
		}, "x"},
		"an unknown problem": {func(*testing.T, string) {}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, HistoryFile)
			must(t, os.WriteFile(path, []byte(good), 0o644))
			c.prepare(t, dir)
			if err := appendHistory(dir, service(c.what)); err == nil {
				t.Error("taken")
			}
			if after, err := os.ReadFile(path); err != nil || string(after) != good {
				t.Errorf("%v: %s", err, after)
			}
		})
	}
	dir := t.TempDir()
	must(t, appendHistory(dir, service("x")))
	first, err := os.ReadFile(filepath.Join(dir, HistoryFile))
	must(t, err)
	must(t, appendHistory(dir, service("y")))
	second, err := os.ReadFile(filepath.Join(dir, HistoryFile))
	must(t, err)
	if !strings.HasPrefix(string(first), "#") || !strings.HasPrefix(string(second), string(first)) {
		t.Errorf("what stood there changed:\n%s\nwas\n%s", second, first)
	}
	if list, _ := os.ReadDir(dir); len(list) != 1 {
		t.Errorf("something is left beside the file: %v", list)
	}
}

// A history kept elsewhere, with a link in the bench, stays there.
func TestHistoryBehindALink(t *testing.T) {
	dir, elsewhere := t.TempDir(), filepath.Join(t.TempDir(), "kept.toml")
	must(t, os.WriteFile(elsewhere, []byte(good), 0o644))
	must(t, os.Symlink(elsewhere, filepath.Join(dir, HistoryFile)))
	must(t, appendHistory(dir, historyBlock{Service: []Service{{When: day(3), What: "x"}}}))
	if data, err := os.ReadFile(elsewhere); err != nil || !strings.HasPrefix(string(data), good) || len(data) == len(good) {
		t.Errorf("%v: %s", err, data)
	}
}

func TestRefs(t *testing.T) {
	for _, bad := range []string{"", "knee", "knee/", "/creep", "knee/none", "knee/rust"} {
		if _, err := ParseRef(bad); err == nil {
			t.Errorf("%q was taken", bad)
		}
	}
	if r, err := ParseRef("knee/creep"); err != nil || r.String() != "knee/creep" {
		t.Errorf("%v %v", r, err)
	}
}
