package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// layers lists the top folders from the bottom up. A folder may import itself and what stands
// before it.
var layers = []string{"firmware-protocol", "rig", "analyze", "cmd"}

// forbidden lists imports that the layers alone would allow, each with its reason.
var forbidden = []struct{ from, to, why string }{
	{"rig", "limbgauge/rig/link", "the types are pure: nothing in package rig waits for a stand"},
	{"rig", "limbgauge/rig/record", "the types are pure: nothing in package rig writes a run"},
	{"rig/link", "limbgauge/rig/record", "a conversation does not know where its samples go"},
	{"rig/record", "limbgauge/rig/link", "a run on disk does not know where its samples come from"},
}

// portLibrary may be imported in one place only, so that opening, flushing and resets live there.
const portLibrary = "go.bug.st/serial"

// emulator may be imported by tests only.
const emulator = "limbgauge/firmware-protocol/avr/emulated"

// computing lists the packages that are pure functions of slices: they import no rig, no files, no clock.
var computing = []string{"segment", "sensor", "positioning", "play", "friction", "drive", "vibration", "drift", "stats", "filter", "health", "diagnose", "calibrate", "rhythm"}

func TestArrows(t *testing.T) {
	root := repoRoot(t)
	seen := 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (strings.HasPrefix(d.Name(), ".") && path != root || d.Name() == "testdata") {
			return filepath.SkipDir
		}
		if !strings.HasSuffix(path, ".go") {
			return nil
		}
		rel, err := filepath.Rel(root, path)
		if err != nil {
			return err
		}
		dir := filepath.ToSlash(filepath.Dir(rel))
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		seen++
		for _, spec := range f.Imports {
			imp, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				return err
			}
			if why := breaks(dir, imp, strings.HasSuffix(path, "_test.go")); why != "" {
				t.Errorf("%s imports %s: %s", rel, imp, why)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if seen < 50 {
		t.Fatalf("only %d files were read under %s: the check looks in the wrong place", seen, root)
	}
}

// breaks says why a file in dir must not import imp, "" when it may.
func breaks(dir, imp string, test bool) string {
	if imp == "C" {
		return "no cgo"
	}
	if imp == emulator && !test {
		return "the emulated board is built for tests alone: its emulator's licence is not ours"
	}
	if strings.HasPrefix(imp, portLibrary) && dir != "rig/link/port" && !test {
		return "serial ports are opened in rig/link/port and nowhere else"
	}
	if !strings.HasPrefix(imp, "limbgauge/") {
		return ""
	}
	from, to := layer(dir), layer(strings.TrimPrefix(imp, "limbgauge/"))
	if from < 0 || to < 0 {
		return "the folder is none of " + strings.Join(layers, ", ")
	}
	if to > from {
		return "imports run " + strings.Join(layers, " <- ")
	}
	for _, f := range forbidden {
		if dir == f.from && (imp == f.to || strings.HasPrefix(imp, f.to+"/")) && !test {
			return f.why
		}
	}
	if !test && strings.HasPrefix(dir, "analyze/") {
		for _, c := range computing {
			if (dir == "analyze/"+c || strings.HasPrefix(dir, "analyze/"+c+"/")) && strings.HasPrefix(imp, "limbgauge/rig/") {
				return "a measuring package knows nothing of ports, files or the wire"
			}
		}
	}
	if !test && dir == "analyze" && strings.HasPrefix(imp, "limbgauge/rig/") {
		return "the analysis is handed a rig.Series; it knows nothing of ports, files or the wire"
	}
	return ""
}

func layer(dir string) int {
	top, _, _ := strings.Cut(dir, "/")
	for i, l := range layers {
		if l == top {
			return i
		}
	}
	return -1
}

// The check must be able to fail: every upward pair, the skips too.
func TestArrowsCanFail(t *testing.T) {
	for i, from := range layers {
		for _, to := range layers[i+1:] {
			if breaks(from, "limbgauge/"+to, false) == "" {
				t.Errorf("%s importing %s was let through", from, to)
			}
		}
	}
	for _, bad := range [][2]string{{"rig/session", portLibrary}, {"analyze", "limbgauge/rig/record"}, {"analyze/play", "limbgauge/rig/link"}, {"rig", "C"}, {"rig/link", emulator}} {
		if breaks(bad[0], bad[1], false) == "" {
			t.Errorf("%s importing %s was let through", bad[0], bad[1])
		}
	}
	for _, good := range [][2]string{{"cmd/limbgauge", "limbgauge/analyze"}, {"rig/link/port", portLibrary}, {"analyze", "limbgauge/rig"}, {"analyze/book", "limbgauge/rig/record"}} {
		if why := breaks(good[0], good[1], false); why != "" {
			t.Errorf("%s importing %s was stopped: %s", good[0], good[1], why)
		}
	}
}

// repoRoot walks up from the working folder to go.mod.
func repoRoot(t *testing.T) string {
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
			t.Fatal("no go.mod above the working folder")
		}
		dir = up
	}
}
