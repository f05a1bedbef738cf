package book

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// HashFile returns the SHA-256 and size of a part's file.
func HashFile(path string) (sum string, size int64, err error) {
	f, err := os.Open(path)
	if err != nil {
		return "", 0, fmt.Errorf("hash part: %w", err)
	}
	defer f.Close()
	if st, err := f.Stat(); err == nil && st.IsDir() {
		return "", 0, fmt.Errorf("hash part: %s is a folder, not a file", path)
	}
	h := sha256.New()
	if size, err = io.Copy(h, f); err != nil {
		return "", 0, fmt.Errorf("hash part %s: %w", path, err)
	}
	return hex.EncodeToString(h.Sum(nil)), size, nil
}

// ReadPart fills in what is to be kept of a part's file: hash, size, and when it was written.
func ReadPart(name, path string) (Part, error) {
	sum, size, err := HashFile(path)
	if err != nil {
		return Part{}, err
	}
	st, err := os.Stat(path)
	if err != nil {
		return Part{}, fmt.Errorf("hash part: %w", err)
	}
	return Part{Name: name, File: path, SHA256: sum, Bytes: size, Modified: st.ModTime().UTC()}, nil
}

// FileState is what became of a part's file since its revision was added.
type FileState string

// The states of a file.
const (
	FileSame       FileState = "same"
	FileChanged    FileState = "changed"
	FileGone       FileState = "gone"
	FileUnreadable FileState = "unreadable"
	FileUnknown    FileState = "unknown" // no hash was kept, so a change can not be told
	FileNone       FileState = ""        // the part has no file
)

// FileNow is a part's file as it is now.
type FileNow struct {
	Revision string    `json:"-"`
	Part     Part      `json:"-"`
	Name     string    `json:"part"`
	State    FileState `json:"state"`
	// Bytes and SHA256 are those of the file now, where it changed. Of names the revision whose part it
	// now is, "" where it is in none.
	Bytes  int64  `json:"bytes,omitempty"`
	SHA256 string `json:"sha256,omitempty"`
	Of     string `json:"of,omitempty"`
	Err    error  `json:"-"`
}

// Trouble says what is wrong with a file, nil where nothing is.
func (n FileNow) Trouble() error {
	at := fmt.Sprintf("revision %s, part %s: %s", n.Revision, n.Part.Name, n.Part.File)
	switch n.State {
	case FileGone:
		return fmt.Errorf("%s is not there any more", at)
	case FileUnreadable:
		return fmt.Errorf("%s can not be read: %w", at, n.Err)
	case FileUnknown:
		return fmt.Errorf("revision %s, part %s: no hash of %s was kept, so a change cannot be told", n.Revision, n.Part.Name, n.Part.File)
	case FileChanged:
		how := fmt.Sprintf("%d bytes then, %d now", n.Part.Bytes, n.Bytes)
		if n.Part.Bytes == n.Bytes {
			how = fmt.Sprintf("%d bytes as before, SHA-256 %.12s then, %.12s now", n.Bytes, n.Part.SHA256, n.SHA256)
		}
		if n.Of != "" {
			return fmt.Errorf("%s has changed since the revision was added (%s): it is now that of revision %s", at, how, n.Of)
		}
		return fmt.Errorf("%s has changed since the revision was added (%s); add a new revision for it", at, how)
	}
	return nil
}

// Files looks at the files of parts, at each at most once.
type Files struct {
	dir    string
	family Family
	whole  bool
	hashed map[string]hashed
}

type hashed struct {
	sum  string
	size int64
	err  error
}

// LookAt looks at files below a bench folder. Where whole is true every file is read from end to end.
// Otherwise one whose size and time of writing are those kept is taken as it was, so that lists need
// not read hundreds of megabytes: a change that keeps both is seen by a whole look only.
func LookAt(dir string, family Family, whole bool) *Files {
	return &Files{dir: dir, family: family, whole: whole, hashed: map[string]hashed{}}
}

// Now says what became of the files of a revision's parts, one entry for each part.
func (f *Files) Now(r Revision) []FileNow {
	out := []FileNow{}
	for _, p := range r.Parts {
		out = append(out, f.part(r.Name, p))
	}
	return out
}

// Troubles says which files of a revision are no longer what they were when it was added.
func (f *Files) Troubles(r Revision) []error {
	var out []error
	for _, n := range f.Now(r) {
		if err := n.Trouble(); err != nil {
			out = append(out, err)
		}
	}
	return out
}

func (f *Files) part(revision string, p Part) FileNow {
	n := FileNow{Revision: revision, Part: p, Name: p.Name}
	if p.File == "" {
		return n
	}
	path := filepath.FromSlash(p.File)
	if !filepath.IsAbs(path) {
		path = filepath.Join(f.dir, path)
	}
	st, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		n.State = FileGone
		return n
	case err != nil:
		n.State, n.Err = FileUnreadable, err
		return n
	case p.SHA256 == "":
		n.State = FileUnknown
		return n
	case !f.whole && st.Size() == p.Bytes && !p.Modified.IsZero() && st.ModTime().Equal(p.Modified):
		n.State = FileSame
		return n
	}
	h, ok := f.hashed[path]
	if !ok {
		h.sum, h.size, h.err = HashFile(path)
		f.hashed[path] = h
	}
	switch {
	case h.err != nil:
		n.State, n.Err = FileUnreadable, h.err
	case strings.EqualFold(h.sum, p.SHA256):
		n.State = FileSame
	default:
		n.State, n.Bytes, n.SHA256 = FileChanged, h.size, h.sum
		for _, r := range f.family {
			if q, has := r.Part(p.Name); has && strings.EqualFold(q.SHA256, h.sum) {
				n.Of = r.Name
				break
			}
		}
	}
	return n
}

// Use is a part of a revision that was made from a file.
type Use struct {
	Revision string `json:"revision"`
	Part     Part   `json:"part"`
}

// WithHash returns the parts whose file has a hash that begins so, in any case of letters.
func (f Family) WithHash(prefix string) []Use {
	return f.uses(func(p Part) bool {
		return p.SHA256 != "" && strings.HasPrefix(strings.ToLower(p.SHA256), strings.ToLower(prefix))
	})
}

// WithName returns the parts whose file has that path, as kept, or else those whose file has that name in
// whatever folder.
func (f Family) WithName(file string) []Use {
	if same := f.uses(func(p Part) bool { return p.File != "" && p.File == file }); len(same) > 0 {
		return same
	}
	return f.uses(func(p Part) bool { return p.File != "" && filepath.Base(p.File) == filepath.Base(file) })
}

func (f Family) uses(is func(Part) bool) []Use {
	out := []Use{}
	for _, r := range f {
		for _, p := range r.Parts {
			if is(p) {
				out = append(out, Use{r.Name, p})
			}
		}
	}
	return out
}
