package book

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"limbgauge/rig/record"
)

// Opened says what opening a book took.
type Opened struct {
	// Rebuilt is true when the book was made anew, Why says because of what. MovedTo names where a
	// book that could not be read was put.
	Rebuilt bool
	Why     string
	MovedTo string
	// Took lists runs that came in from their folders, or anew because their folder had changed.
	Took []string
	// Outside are the run folders that are not in the book: being recorded, or not to be read.
	Outside []record.Entry
	// Warnings are troubles with single runs or with the last block of history.toml; all else is in.
	Warnings []error
}

// OpenBook opens the book of a bench folder. A book that is missing, older or damaged is made anew
// from the run folders and history.toml, and Opened says so; damage that only a later question meets is
// mended then, see Book.Mended. One that has fallen behind what is on the disk catches up.
func OpenBook(ctx context.Context, dir string) (*Book, Opened, error) {
	path := filepath.Join(dir, File)
	_, err := os.Stat(path)
	if errors.Is(err, os.ErrNotExist) {
		return newBook(ctx, dir, Opened{Rebuilt: true, Why: "there was no " + File})
	}
	if err != nil {
		return nil, Opened{}, fmt.Errorf("open book: %w", err)
	}
	b, version, err := openDB(ctx, dir, path)
	if err == nil && version == len(migrations) {
		o, err := b.catchUp(ctx)
		if err == nil {
			return b, o, nil
		}
		err = errors.Join(err, b.Close())
		if readOnly(err) {
			return nil, o, fmt.Errorf("open book: %w", &fs.PathError{Op: "write", Path: path, Err: fs.ErrPermission})
		}
		if !damaged(err) {
			return nil, o, err
		}
		return anew(ctx, dir, b.file, err)
	}
	b.Close()
	switch {
	case readOnly(err):
		return nil, Opened{}, fmt.Errorf("open book: %w", &fs.PathError{Op: "write", Path: path, Err: fs.ErrPermission})
	case busy(err):
		return nil, Opened{}, fmt.Errorf("open book: %s is in use by another program; close it and try again: %w", path, err)
	case err == nil && version > len(migrations):
		return nil, Opened{}, fmt.Errorf("open book: %s has schema %d, this limbgauge knows up to %d: use the newer one", path, version, len(migrations))
	case err != nil && !damaged(err):
		return nil, Opened{}, fmt.Errorf("open book: %s: %w", path, err)
	}
	return anew(ctx, dir, b.file, err)
}

// anew makes a book in the place of one that is damaged, or of an older one where damage is nil. Where
// another file is there by now another program has done so, and its book is opened.
func anew(ctx context.Context, dir string, file os.FileInfo, damage error) (*Book, Opened, error) {
	path := filepath.Join(dir, File)
	if now, err := os.Stat(path); err != nil || !os.SameFile(now, file) {
		return OpenBook(ctx, dir)
	}
	o, err := putAside(path, damage)
	if err != nil {
		return nil, o, err
	}
	return newBook(ctx, dir, o)
}

func newBook(ctx context.Context, dir string, o Opened) (*Book, Opened, error) {
	if err := createDB(ctx, dir, &o); err != nil {
		return nil, o, err
	}
	b, _, err := openDB(ctx, dir, filepath.Join(dir, File))
	if err != nil {
		return nil, o, errors.Join(fmt.Errorf("open the new book: %w", err), b.Close())
	}
	return b, o, nil
}

// putAside makes room for a new book: an older one is removed, a damaged one is kept under another name.
func putAside(path string, damage error) (o Opened, err error) {
	o.Rebuilt, o.Why = true, File+" had an older schema"
	if damage == nil {
		removeSidecars(path)
		if err := os.Remove(path); err != nil {
			return o, fmt.Errorf("remove the old book: %w", err)
		}
		return o, nil
	}
	o.Why = fmt.Sprintf("%s could not be read (%v)", File, damage)
	o.MovedTo = path + ".damaged"
	for i := 2; exists(o.MovedTo); i++ {
		o.MovedTo = fmt.Sprintf("%s.damaged-%d", path, i)
	}
	if err := os.Rename(path, o.MovedTo); err != nil {
		return o, fmt.Errorf("put the damaged book aside: %w", err)
	}
	removeSidecars(path)
	return o, nil
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// removeSidecars drops what SQLite keeps beside a database that is gone.
func removeSidecars(path string) {
	for _, s := range []string{"-wal", "-shm"} {
		_ = os.Remove(path + s) // mostly not there
	}
}

func busy(err error) bool {
	return err != nil && (strings.Contains(err.Error(), "SQLITE_BUSY") || strings.Contains(err.Error(), "database is locked"))
}

var errDamaged = errors.New("the database is damaged")

// damaged tells a spoiled database from all else that may keep it from being read, such as a
// cancelled command or missing rights.
func damaged(err error) bool {
	var e *sqlite.Error
	if errors.As(err, &e) {
		code := e.Code() & 0xff // the rest only says where
		return code == sqlite3.SQLITE_CORRUPT || code == sqlite3.SQLITE_NOTADB
	}
	return errors.Is(err, errDamaged)
}

// readOnly tells a database that may be read but not written to: a bench on a medium or in a folder of
// somebody else.
func readOnly(err error) bool {
	var e *sqlite.Error
	return errors.As(err, &e) && e.Code()&0xff == sqlite3.SQLITE_READONLY
}

// patience is how long one program waits for another to finish writing.
const patience = 5 * time.Second

func dsn(path string, patience time.Duration) string {
	// The name is part of an address, in which # and ? and % would mean something.
	return "file:" + (&url.URL{Path: filepath.ToSlash(path)}).EscapedPath() +
		fmt.Sprintf("?_pragma=busy_timeout(%d)", patience.Milliseconds()) +
		"&_pragma=journal_mode(WAL)&_pragma=foreign_keys(1)&_pragma=synchronous(NORMAL)&_txlock=immediate"
}

// openDB opens a database and reads its schema version. The book must be closed after an error too.
func openDB(ctx context.Context, dir, path string) (*Book, int, error) {
	db, err := sql.Open("sqlite", dsn(path, patience))
	if err != nil {
		return &Book{db: db, dir: dir}, 0, err
	}
	b := &Book{db: db, dir: dir}
	var version int
	if b.file, err = os.Stat(path); err != nil {
		return b, 0, err
	}
	if cut(path) {
		return b, 0, fmt.Errorf("%w: it is shorter than it says", errDamaged)
	}
	if err := db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return b, 0, err
	}
	return b, version, nil
}

// cut says whether a database ends before the size that its header states (SQLite database file
// format, 1.3). With a log beside it, pages may not have been brought over yet; the log is looked for
// last, since it stays until they are.
func cut(path string) bool {
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	var head [32]byte
	if _, err := io.ReadFull(f, head[:]); err != nil {
		return false
	}
	st, err := f.Stat()
	if err != nil {
		return false
	}
	page := int64(binary.BigEndian.Uint16(head[16:]))
	if page == 1 {
		page = 65536
	}
	return st.Size() < page*int64(binary.BigEndian.Uint32(head[28:])) && !exists(path+"-wal")
}

// createDB makes the whole book under another name and then puts it in its place, unless another
// program was faster: nobody ever sees half a book, and two programs do not build in one file.
func createDB(ctx context.Context, dir string, o *Opened) error {
	path := filepath.Join(dir, File)
	f, err := os.CreateTemp(dir, "."+File+".*")
	if err != nil {
		return fmt.Errorf("make book: %w", err)
	}
	defer func() {
		removeSidecars(f.Name())
		_ = os.Remove(f.Name()) // the book has a name of its own by now, or was not made
	}()
	if err := errors.Join(f.Chmod(0o644), f.Close()); err != nil {
		return fmt.Errorf("make book: %w", err)
	}
	b, _, err := openDB(ctx, dir, f.Name())
	if err == nil {
		err = b.write(ctx, func(tx *sql.Tx) error {
			for _, m := range migrations {
				if _, err := tx.ExecContext(ctx, m); err != nil {
					return err
				}
			}
			_, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA user_version = %d", len(migrations)))
			return err
		})
	}
	if err == nil {
		err = b.rebuild(ctx, o)
	}
	if err := errors.Join(err, b.Close()); err != nil {
		return fmt.Errorf("make book: %w", err)
	}
	err = os.Link(f.Name(), path)
	if err != nil && !errors.Is(err, fs.ErrExist) {
		err = os.Rename(f.Name(), path) // a file system without links
	}
	if err != nil && !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("make book: %w", err)
	}
	return nil
}
