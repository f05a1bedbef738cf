package book

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// abc is the SHA-256 of "abc" (FIPS 180-4, first example).
const abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

func TestHashFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "femur.stl")
	must(t, os.WriteFile(path, []byte("abc"), 0o644))
	if sum, size, err := HashFile(path); err != nil || sum != abc || size != 3 {
		t.Errorf("%s %d %v", sum, size, err)
	}
	if _, _, err := HashFile(filepath.Dir(path)); err == nil || !strings.Contains(err.Error(), "folder") {
		t.Errorf("a folder: %v", err)
	}
}

// What became of a file, by a look at its size and time and by a look at the whole of it.
func TestFilesNow(t *testing.T) {
	for _, c := range []struct {
		name         string
		change       func(t *testing.T, path string, p *Part)
		quick, whole FileState
		says         string
	}{
		{"untouched", func(*testing.T, string, *Part) {}, FileSame, FileSame, ""},
		{"written anew with the same bytes", func(t *testing.T, path string, p *Part) {
			must(t, os.Chtimes(path, time.Now(), p.Modified.Add(time.Hour)))
		}, FileSame, FileSame, ""},
		{"another size", func(t *testing.T, path string, _ *Part) {
			must(t, os.WriteFile(path, []byte("abcd"), 0o644))
		}, FileChanged, FileChanged, "3 bytes then, 4 now"},
		{"same size, another time", func(t *testing.T, path string, p *Part) {
			must(t, os.WriteFile(path, []byte("abd"), 0o644))
			must(t, os.Chtimes(path, time.Now(), p.Modified.Add(time.Hour)))
		}, FileChanged, FileChanged, "SHA-256 ba7816bf8f01 then"},
		{"same size and time: a whole look only", func(t *testing.T, path string, p *Part) {
			must(t, os.WriteFile(path, []byte("abd"), 0o644))
			must(t, os.Chtimes(path, time.Now(), p.Modified))
		}, FileSame, FileChanged, "add a new revision"},
		{"same size and time, of an old history without the time", func(t *testing.T, path string, p *Part) {
			must(t, os.WriteFile(path, []byte("abd"), 0o644))
			p.Modified = time.Time{}
		}, FileChanged, FileChanged, "has changed"},
		{"now that of another revision", func(t *testing.T, path string, _ *Part) {
			must(t, os.WriteFile(path, []byte("of B"), 0o644))
		}, FileChanged, FileChanged, "it is now that of revision B"},
		{"gone", func(t *testing.T, path string, _ *Part) { must(t, os.Remove(path)) }, FileGone, FileGone, "not there"},
		{"a folder now", func(t *testing.T, path string, _ *Part) {
			must(t, os.Remove(path))
			must(t, os.Mkdir(path, 0o755))
		}, FileUnreadable, FileUnreadable, "folder"},
		{"hash in capitals, by hand", func(_ *testing.T, _ string, p *Part) { p.SHA256 = strings.ToUpper(p.SHA256) }, FileSame, FileSame, ""},
		{"no file", func(_ *testing.T, _ string, p *Part) { *p = Part{Name: "femur"} }, FileNone, FileNone, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, "femur.stl")
			must(t, os.WriteFile(path, []byte("of B"), 0o644))
			ofB, err := ReadPart("femur", path)
			must(t, err)
			must(t, os.WriteFile(path, []byte("abc"), 0o644))
			p, err := ReadPart("femur", path)
			must(t, err)
			p.File = "femur.stl"
			c.change(t, path, &p)
			a := Revision{Name: "A", Parts: []Part{p}}
			family := Family{a, {Name: "B", Parts: []Part{ofB}}}
			for whole, want := range map[bool]FileState{false: c.quick, true: c.whole} {
				n := LookAt(dir, family, whole).Now(a)[0]
				if n.State != want {
					t.Errorf("whole %v: %q, want %q", whole, n.State, want)
				}
				if err := n.Trouble(); (err != nil) != (want != FileSame && want != FileNone) || err != nil && !strings.Contains(err.Error(), c.says) {
					t.Errorf("whole %v: %v", whole, err)
				}
			}
		})
	}
}

// A file that many revisions share is read once.
func TestSharedFileIsReadOnce(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "femur.stl")
	must(t, os.WriteFile(path, []byte("abc"), 0o644))
	p := Part{Name: "femur", File: "femur.stl", SHA256: abc, Bytes: 3}
	look := LookAt(dir, nil, true)
	look.Now(Revision{Name: "A", Parts: []Part{p}})
	must(t, os.WriteFile(path, []byte("abd"), 0o644))
	if n := look.Now(Revision{Name: "B", Parts: []Part{p}})[0]; n.State != FileSame {
		t.Errorf("read again: %q", n.State)
	}
}

func TestFilesByHashAndName(t *testing.T) {
	f := Family{
		{Name: "A", Parts: []Part{{Name: "femur", File: "cad/femur.stl", SHA256: abc}, {Name: "belt"}}},
		{Name: "B", Parent: "A", Parts: []Part{{Name: "thigh", File: "cad/thigh.stl", SHA256: strings.ToUpper(abc)}, {Name: "femur", File: "cad/femur.stl", SHA256: "00"}}},
	}
	if u := f.WithHash("BA7816bf"); len(u) != 2 || u[0].Revision != "A" || u[1].Part.Name != "thigh" {
		t.Errorf("%+v", u)
	}
	if u := f.WithHash("ffffffff"); len(u) != 0 {
		t.Errorf("%+v", u)
	}
	for _, name := range []string{"femur.stl", "cad/femur.stl"} {
		if u := f.WithName(name); len(u) != 2 || u[1].Revision != "B" {
			t.Errorf("%s: %+v", name, u)
		}
	}
	if u := f.WithName("x/femur.stl"); len(u) != 2 {
		t.Errorf("a copy elsewhere: %+v", u)
	}
	if u := f.WithName("tail.stl"); len(u) != 0 {
		t.Errorf("%+v", u)
	}
}
