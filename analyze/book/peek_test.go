package book

import (
	"os"
	"path/filepath"
	"testing"
)

// A glance makes nothing where there is no book, and leaves one that is damaged as it lies.
func TestPeekTouchesNothing(t *testing.T) {
	dir := t.TempDir()
	if g, err := Peek(t.Context(), dir); err == nil {
		g.Close()
		t.Error("there is no book, and no error")
	}
	path := filepath.Join(dir, File)
	if exists(path) {
		t.Error("a book was made")
	}
	damaged := []byte("SQLite format 3\x00 and nothing more that could be one")
	if err := os.WriteFile(path, damaged, 0o644); err != nil {
		t.Fatal(err)
	}
	if g, err := Peek(t.Context(), dir); err == nil {
		g.Close()
		t.Error("the book is damaged, and no error")
	}
	if got, err := os.ReadFile(path); err != nil || string(got) != string(damaged) {
		t.Errorf("the damaged book was changed: %q, %v", got, err)
	}
	if list, err := os.ReadDir(dir); err != nil || len(list) != 1 {
		t.Errorf("%d files lie beside it, %v", len(list)-1, err)
	}
}
