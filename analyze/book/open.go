package book

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
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
	// Warnings are troubles with single runs or with the last block of history.toml; all else is in.
	Warnings []error
}

// OpenBook opens the book of a bench folder. A book that is missing, older or damaged is made anew
// from the run folders and history.toml, and Opened says so. One that has fallen behind what is on
// the disk catches up.
func OpenBook(ctx context.Context, dir string) (*Book, Opened, error) {
	path := filepath.Join(dir, File)
	var o Opened
	_, err := os.Stat(path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		o.Rebuilt, o.Why = true, "there was no "+File
	case err != nil:
		return nil, o, fmt.Errorf("open book: %w", err)
	default:
		b, version, err := openDB(ctx, dir, path)
		if err == nil && version == len(migrations) {
			if o, err = b.catchUp(ctx); err != nil {
				return nil, o, errors.Join(err, b.Close())
			}
			return b, o, nil
		}
		b.Close()
		if busy(err) {
			return nil, o, fmt.Errorf("open book: %s is in use by another program; close it and try again: %w", path, err)
		}
		if err == nil && version > len(migrations) {
			return nil, o, fmt.Errorf("open book: %s has schema %d, this limbgauge knows up to %d: use the newer one", path, version, len(migrations))
		}
		if err != nil && !damaged(err) {
			return nil, o, fmt.Errorf("open book: %s: %w", path, err)
		}
		o.Rebuilt, o.Why = true, fmt.Sprintf("%s had an older schema", File)
		if err != nil {
			o.Why = fmt.Sprintf("%s could not be read (%v)", File, err)
			o.MovedTo = path + ".damaged"
			for i := 2; exists(o.MovedTo); i++ {
				o.MovedTo = fmt.Sprintf("%s.damaged-%d", path, i)
			}
			if err := os.Rename(path, o.MovedTo); err != nil {
				return nil, o, fmt.Errorf("put the damaged book aside: %w", err)
			}
		}
		removeSidecars(path)
		if o.MovedTo == "" {
			if err := os.Remove(path); err != nil {
				return nil, o, fmt.Errorf("remove the old book: %w", err)
			}
		}
	}
	if o.Warnings, err = createDB(ctx, dir); err != nil {
		return nil, o, err
	}
	b, _, err := openDB(ctx, dir, path)
	if err != nil {
		return nil, o, errors.Join(fmt.Errorf("open the new book: %w", err), b.Close())
	}
	return b, o, nil
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

var errDamaged = errors.New("the check of the database found")

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
	if err := db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return b, 0, err
	}
	if version > 0 { // a database that opens but is damaged inside is told by its own check
		var ok string
		if err := db.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&ok); err != nil {
			return b, 0, err
		} else if ok != "ok" {
			return b, 0, fmt.Errorf("%w: %s", errDamaged, ok)
		}
	}
	return b, version, nil
}

// createDB makes the whole book under another name and then puts it in its place, unless another
// program was faster: nobody ever sees half a book, and two programs do not build in one file.
func createDB(ctx context.Context, dir string) (warnings []error, err error) {
	path := filepath.Join(dir, File)
	f, err := os.CreateTemp(dir, "."+File+".*")
	if err != nil {
		return nil, fmt.Errorf("make book: %w", err)
	}
	defer func() {
		removeSidecars(f.Name())
		_ = os.Remove(f.Name()) // the book has a name of its own by now, or was not made
	}()
	if err := errors.Join(f.Chmod(0o644), f.Close()); err != nil {
		return nil, fmt.Errorf("make book: %w", err)
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
		warnings, err = b.rebuild(ctx)
	}
	if err := errors.Join(err, b.Close()); err != nil {
		return nil, fmt.Errorf("make book: %w", err)
	}
	err = os.Link(f.Name(), path)
	if err != nil && !errors.Is(err, fs.ErrExist) {
		err = os.Rename(f.Name(), path) // a file system without links
	}
	if err != nil && !errors.Is(err, fs.ErrExist) {
		return nil, fmt.Errorf("make book: %w", err)
	}
	return warnings, nil
}
