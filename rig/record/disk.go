package record

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
)

// disk is what this package asks of a file system. Tests stand in for it to fail at every step.
type disk interface {
	Mkdir(path string) error // fails with fs.ErrExist when it is there
	// Create makes a file that must not exist yet, and locks it until it is closed.
	Create(path string) (file, error)
	ReadFile(path string) ([]byte, error)
	Rename(from, to string) error
	Remove(path string) error
	List(path string) ([]string, error) // names in a folder
	SyncDir(path string) error
	// Lock takes a file for this owner alone; it fails with ErrInUse when another has it.
	Lock(path string) (unlock func(), err error)
}

// file is a file being written.
type file interface {
	io.Writer
	Sync() error
	Close() error
}

// osDisk is the real one.
type osDisk struct{}

func (osDisk) Mkdir(path string) error              { return os.Mkdir(path, 0o755) }
func (osDisk) ReadFile(path string) ([]byte, error) { return os.ReadFile(path) }
func (osDisk) Rename(from, to string) error         { return os.Rename(from, to) }
func (osDisk) Remove(path string) error             { return os.Remove(path) }

func (osDisk) Create(path string) (file, error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL|os.O_APPEND, 0o644)
	if err != nil {
		return nil, err
	}
	if err := lockFile(f); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

func (osDisk) Lock(path string) (func(), error) { return lockPath(path) }

func (osDisk) List(path string) ([]string, error) {
	entries, err := os.ReadDir(path)
	names := make([]string, len(entries))
	for i, e := range entries {
		names[i] = e.Name()
	}
	return names, err
}

func (osDisk) SyncDir(path string) error {
	if runtime.GOOS == "windows" {
		return nil // a folder can not be opened for this there; a rename is in the file system's own journal
	}
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// replaceFile writes a file whole or not at all, in the durable order.
func replaceFile(d disk, path string, data []byte) error {
	err := func() error {
		temp := path + tempSuffix // in the same folder: a rename across file systems is a copy
		if err := d.Remove(temp); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err // left behind by a crash
		}
		f, err := d.Create(temp)
		if err != nil {
			return err
		}
		if _, err := f.Write(data); err != nil {
			return errors.Join(err, f.Close())
		}
		if err := f.Sync(); err != nil { // before the rename: a name must never point at bytes not yet there
			return errors.Join(err, f.Close())
		}
		if err := f.Close(); err != nil {
			return err
		}
		if err := d.Rename(temp, path); err != nil {
			return err
		}
		return d.SyncDir(filepath.Dir(path)) // until then the old name may come back after a crash
	}()
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	return nil
}
