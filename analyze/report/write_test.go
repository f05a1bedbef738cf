package report

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
)

// names lists what lies in a folder, hidden files too.
func names(t *testing.T, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, e := range entries {
		out = append(out, e.Name())
	}
	return out
}

// A report takes the place of another whole, also of a longer one, and leaves nothing beside it.
func TestWriteFileReplaces(t *testing.T) {
	dir := t.TempDir()
	// A rename is only whole within one file system, so the folder for temporary files is of no use.
	t.Setenv("TMPDIR", filepath.Join(dir, "missing"))
	path := filepath.Join(dir, "report.html")
	if err := os.WriteFile(path, bytes.Repeat([]byte("old"), 1_000_000), 0o600); err != nil {
		t.Fatal(err)
	}
	old, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer old.Close()
	for range 2 {
		if err := WriteFile(path, fixture(asIs)); err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if string(got) != render(t, fixture(asIs)) {
			t.Errorf("the file has %d bytes and is not the page", len(got))
		}
		if n := names(t, dir); len(n) != 1 {
			t.Errorf("the folder holds %q", n)
		}
	}
	// Whoever had the old file open still reads the old one: it was replaced, not overwritten.
	info, err := old.Stat()
	if err != nil || info.Size() != 3_000_000 {
		t.Errorf("the old file was written into: %v, %v", info, err)
	}
}

func TestWriteFileErrors(t *testing.T) {
	dir := t.TempDir()
	if err := WriteFile(filepath.Join(dir, "missing", "report.html"), fixture(asIs)); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("into a missing folder: %v", err)
	}
	if n := names(t, dir); len(n) != 0 {
		t.Errorf("after the missing folder there is %q", n)
	}
	taken := filepath.Join(dir, "report.html")
	if err := os.Mkdir(taken, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := WriteFile(taken, fixture(asIs)); err == nil {
		t.Error("a folder was replaced by a report")
	}
	if n := names(t, dir); len(n) != 1 {
		t.Errorf("after the failed rename there is %q", n)
	}
}

type full struct{}

var errFull = errors.New("no room")

func (full) Write([]byte) (int, error) { return 0, errFull }

func TestHTMLTellsTheWriter(t *testing.T) {
	if err := HTML(full{}, fixture(asIs)); !errors.Is(err, errFull) {
		t.Errorf("error %v", err)
	}
}
