package record

import (
	"errors"
	"io/fs"
	"path/filepath"
	"sort"
)

// memDisk is a disk in memory that can crash before any of its operations and then shows what a
// real one may show after the power came back: only what was asked to be durable is sure to be
// there. The rules are those of POSIX: fsync of a file keeps its bytes, fsync of a folder the names in it.
type memDisk struct {
	nodes   map[string]*node // as the running system sees it
	durable map[string]*node // names that outlive a power loss
	steps   int              // operations so far
	crashAt int              // the operation that fails, -1 for none
	trace   []string
}

type node struct {
	dir    bool
	data   []byte
	synced int // bytes that outlive a power loss
	locked bool
}

var errCrash = errors.New("the power went away")

func newMemDisk() *memDisk {
	root := &node{dir: true}
	return &memDisk{nodes: map[string]*node{".": root}, durable: map[string]*node{".": root}, crashAt: -1}
}

func (d *memDisk) put(path string, data []byte) {
	d.nodes[path] = &node{data: data, synced: len(data)}
	d.durable[path] = d.nodes[path]
}

// step counts an operation and fails at the crash and ever after.
func (d *memDisk) step(what, path string) error {
	d.trace = append(d.trace, what+" "+path)
	d.steps++
	if d.crashAt >= 0 && d.steps > d.crashAt {
		return errCrash
	}
	return nil
}

// afterCrash says what a disk shows after the crash.
type afterCrash string

const (
	processDied afterCrash = "the process died"       // everything is there
	powerLost   afterCrash = "unsynced names lost"    // only what was synced
	namesKept   afterCrash = "unsynced bytes as zero" // all names, but unsynced bytes read as zeros
	tailLost    afterCrash = "unsynced bytes lost"    // all names, without the unsynced bytes
	goneFirst   afterCrash = "only removals kept"     // what was removed is gone, what was made is not there yet
)

// crash returns the disk as it is after a restart.
func (d *memDisk) crash(how afterCrash) *memDisk {
	out := &memDisk{nodes: map[string]*node{}, durable: map[string]*node{}, crashAt: -1}
	names := d.nodes
	if how == powerLost || how == goneFirst {
		names = d.durable
	}
	for path, n := range names {
		if how != powerLost && d.nodes[path] == nil || how == powerLost && !d.reachable(path) {
			continue
		}
		c := &node{dir: n.dir}
		switch how {
		case processDied:
			c.data = append(c.data, n.data...)
		case namesKept:
			c.data = append(append(c.data, n.data[:n.synced]...), make([]byte, len(n.data)-n.synced)...)
		default:
			c.data = append(c.data, n.data[:n.synced]...)
		}
		c.synced = len(c.data)
		out.nodes[path], out.durable[path] = c, c
	}
	return out
}

// reachable says whether all folders above a name outlive a power loss.
func (d *memDisk) reachable(path string) bool {
	for p := path; p != "."; p = filepath.Dir(p) {
		if d.durable[p] == nil {
			return false
		}
	}
	return true
}

func (d *memDisk) missing(path string) error {
	return &fs.PathError{Op: "open", Path: path, Err: fs.ErrNotExist}
}

func (d *memDisk) Mkdir(path string) error {
	if err := d.step("mkdir", path); err != nil {
		return err
	}
	if d.nodes[path] != nil {
		return &fs.PathError{Op: "mkdir", Path: path, Err: fs.ErrExist}
	}
	d.nodes[path] = &node{dir: true}
	return nil
}

func (d *memDisk) Create(path string) (file, error) {
	if err := d.step("create", path); err != nil {
		return nil, err
	}
	if d.nodes[path] != nil {
		return nil, &fs.PathError{Op: "create", Path: path, Err: fs.ErrExist}
	}
	n := &node{locked: true}
	d.nodes[path] = n
	return &memFile{d, path, n}, nil
}

func (d *memDisk) ReadFile(path string) ([]byte, error) {
	if n := d.nodes[path]; n != nil && !n.dir {
		return append([]byte(nil), n.data...), nil
	}
	return nil, d.missing(path)
}

func (d *memDisk) Rename(from, to string) error {
	if err := d.step("rename", to); err != nil {
		return err
	}
	n := d.nodes[from]
	if n == nil {
		return d.missing(from)
	}
	delete(d.nodes, from)
	d.nodes[to] = n
	return nil
}

func (d *memDisk) Remove(path string) error {
	if err := d.step("remove", path); err != nil {
		return err
	}
	if d.nodes[path] == nil {
		return d.missing(path)
	}
	delete(d.nodes, path)
	return nil
}

func (d *memDisk) List(path string) ([]string, error) {
	if d.nodes[path] == nil {
		return nil, d.missing(path)
	}
	var names []string
	for p := range d.nodes {
		if p != "." && filepath.Dir(p) == path {
			names = append(names, filepath.Base(p))
		}
	}
	sort.Strings(names)
	return names, nil
}

func (d *memDisk) SyncDir(path string) error {
	if err := d.step("syncdir", path); err != nil {
		return err
	}
	for p := range d.durable {
		if p != "." && filepath.Dir(p) == path {
			delete(d.durable, p)
		}
	}
	for p, n := range d.nodes {
		if p != "." && filepath.Dir(p) == path {
			d.durable[p] = n
		}
	}
	return nil
}

func (d *memDisk) Lock(path string) (func(), error) {
	n := d.nodes[path]
	if n == nil {
		return nil, d.missing(path)
	}
	if n.locked {
		return nil, ErrInUse
	}
	n.locked = true
	return func() { n.locked = false }, nil
}

type memFile struct {
	d    *memDisk
	path string
	n    *node
}

func (f *memFile) Write(p []byte) (int, error) {
	if err := f.d.step("write", f.path); err != nil {
		half := p[:len(p)/2] // a write may have got anywhere
		if f.d.steps == f.d.crashAt+1 {
			f.n.data = append(f.n.data, half...)
		}
		return len(half), err
	}
	f.n.data = append(f.n.data, p...)
	return len(p), nil
}

func (f *memFile) Sync() error {
	if err := f.d.step("sync", f.path); err != nil {
		return err
	}
	f.n.synced = len(f.n.data)
	return nil
}

func (f *memFile) Close() error {
	f.n.locked = false
	return f.d.step("close", f.path)
}
