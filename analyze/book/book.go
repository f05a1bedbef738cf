package book

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"limbgauge/analyze/health"
)

// File is the name of the book in a bench folder.
const File = "book.db"

// Book is the open catalogue of one bench. Any number of readers may have it open; writers wait
// for one another up to 5 s.
type Book struct {
	db  *sql.DB
	dir string
}

// Run is a run as the book knows it.
type Run struct {
	ID       string    `json:"run"`
	Started  time.Time `json:"started"`
	Leg      string    `json:"leg"`
	Revision string    `json:"revision"`
	Routine  string    `json:"routine"`
	Assembly string    `json:"assembly,omitempty"`
	Ended    string    `json:"ended"`
	Whole    bool      `json:"whole"` // the routine ran to its end
	Samples  int       `json:"samples"`
	Lost     int       `json:"lost_samples"`
	Judged   bool      `json:"judged"`
}

// Opened says what opening a book took.
type Opened struct {
	// Rebuilt is true when the book was made anew, Why says because of what. MovedTo names where a
	// book that could not be read was put.
	Rebuilt bool
	Why     string
	MovedTo string
	// Warnings are troubles with single runs or with the last block of history.toml; all else is in.
	Warnings []error
}

// OpenBook opens the book of a bench folder. A book that is missing, older or damaged is made anew
// from the run folders and history.toml, and Opened says so.
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
			stale, why, err := b.stale(ctx)
			if err != nil {
				b.Close()
				return nil, o, err
			}
			if !stale {
				return b, o, nil
			}
			o.Rebuilt, o.Why = true, why
			if o.Warnings, err = b.rebuild(ctx); err != nil {
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

func dsn(path string) string {
	// The name is part of an address, in which # and ? and % would mean something.
	return "file:" + (&url.URL{Path: filepath.ToSlash(path)}).EscapedPath() + "?_pragma=busy_timeout(5000)&_pragma=journal_mode(WAL)&_pragma=foreign_keys(1)&_pragma=synchronous(NORMAL)&_txlock=immediate"
}

// openDB opens a database and reads its schema version. The book must be closed after an error too.
func openDB(ctx context.Context, dir, path string) (*Book, int, error) {
	db, err := sql.Open("sqlite", dsn(path))
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

// Close closes the book.
func (b *Book) Close() error {
	if b.db == nil {
		return nil
	}
	return b.db.Close()
}

// write runs f in one transaction that nobody else writes beside.
func (b *Book) write(ctx context.Context, f func(*sql.Tx) error) error {
	tx, err := b.db.BeginTx(ctx, nil)
	if busy(err) {
		return fmt.Errorf("%s is in use by another program; close it and try again: %w", filepath.Join(b.dir, File), err)
	}
	if err != nil {
		return err
	}
	if err := f(tx); err != nil {
		return errors.Join(err, tx.Rollback())
	}
	return tx.Commit()
}

// AddRun puts a judged run into the book and follows what it says of problems. h may have no
// joints: the run was not judged. A run that is there already is replaced, and the problems are
// followed anew from the beginning.
func (b *Book) AddRun(ctx context.Context, r Run, h health.Health) error {
	err := b.write(ctx, func(tx *sql.Tx) error {
		var there int
		if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM runs WHERE id = ?", r.ID).Scan(&there); err != nil {
			return err
		}
		if err := insertRun(ctx, tx, r, h); err != nil {
			return err
		}
		if there > 0 {
			return replay(ctx, tx)
		}
		return advance(ctx, tx, eventOf(r, h.Joints))
	})
	if err != nil {
		return fmt.Errorf("put run %s into the book: %w", r.ID, err)
	}
	return nil
}

func eventOf(r Run, joints []health.Joint) RunEvent {
	return RunEvent{When: r.Started, Run: r.ID, Revision: r.Revision, Routine: r.Routine, Whole: r.Whole, Joints: joints}
}

// AddRevision writes a revision into history.toml and then into the book. The file is written under
// the book's write lock: where the lock is not to be had, nothing is written at all.
func (b *Book) AddRevision(ctx context.Context, r Revision) error {
	known, err := b.Revisions(ctx)
	if err != nil {
		return err
	}
	parent := r.Parent == ""
	for _, k := range known {
		if k.Name == r.Name {
			return fmt.Errorf("revision %q is there already; choose another name", r.Name)
		}
		parent = parent || k.Name == r.Parent
	}
	if !parent {
		return fmt.Errorf("revision %q, named as the parent of %q, is not known", r.Parent, r.Name)
	}
	if err := b.checkAnswers(ctx, r.Answers); err != nil {
		return err
	}
	return b.write(ctx, func(tx *sql.Tx) error {
		if err := appendHistory(b.dir, historyBlock{Revision: []Revision{r}}); err != nil {
			return err
		}
		var place int
		if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM revisions").Scan(&place); err != nil {
			return err
		}
		if err := insertRevision(ctx, tx, r, place); err != nil {
			return err
		}
		return advance(ctx, tx, History{Revisions: []Revision{r}}.events()[0])
	})
}

// AddService writes a service into history.toml and then into the book, and returns its number.
func (b *Book) AddService(ctx context.Context, s Service) (int, error) {
	if err := b.checkAnswers(ctx, s.Answers); err != nil {
		return 0, err
	}
	err := b.write(ctx, func(tx *sql.Tx) error {
		if err := appendHistory(b.dir, historyBlock{Service: []Service{s}}); err != nil {
			return err
		}
		if err := tx.QueryRowContext(ctx, "SELECT 1 + count(*) FROM services").Scan(&s.ID); err != nil {
			return err
		}
		if err := insertService(ctx, tx, s); err != nil {
			return err
		}
		return advance(ctx, tx, History{Services: []Service{s}}.events()[0])
	})
	return s.ID, err
}

// AddNote writes a note on a problem into history.toml and then into the book. A note on a
// problem that is not there opens it by hand.
func (b *Book) AddNote(ctx context.Context, n Note) error {
	return b.write(ctx, func(tx *sql.Tx) error {
		if err := appendHistory(b.dir, historyBlock{Note: []Note{n}}); err != nil {
			return err
		}
		if err := insertNote(ctx, tx, n); err != nil {
			return err
		}
		return advance(ctx, tx, History{Notes: []Note{n}}.events()[0])
	})
}

// checkAnswers refuses names of problems that are not there.
func (b *Book) checkAnswers(ctx context.Context, answers []string) error {
	problems, err := b.Problems(ctx)
	if err != nil {
		return err
	}
	l := Life{Problems: problems}
	for _, a := range answers {
		r, err := ParseRef(a)
		if err != nil {
			return err
		}
		if l.Find(r) == nil {
			return fmt.Errorf("there is no problem %s", a)
		}
	}
	return nil
}

// advance takes the problems one event further. An event older than the newest one already
// followed makes the whole story be followed anew, since order matters.
func advance(ctx context.Context, tx *sql.Tx, e Event) error {
	newest, err := newestEvent(ctx, tx)
	if err != nil {
		return err
	}
	if e.at().Before(newest) {
		return replay(ctx, tx)
	}
	l, err := loadLife(ctx, tx)
	if err != nil {
		return err
	}
	return saveProblems(ctx, tx, l.Step(e).Problems)
}

func saveProblems(ctx context.Context, tx *sql.Tx, problems []Problem) error {
	if _, err := tx.ExecContext(ctx, "DELETE FROM problems"); err != nil {
		return err
	}
	for _, p := range problems {
		body, err := json.Marshal(p)
		if err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, "INSERT INTO problems VALUES (?, ?, ?, ?)", p.ID, p.Joint, p.Cause, string(body)); err != nil {
			return err
		}
	}
	return nil
}

// null turns NaN into NULL.
func null(v float64) any {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return v
}

func fromNull(v sql.NullFloat64) float64 {
	if !v.Valid {
		return math.NaN()
	}
	return v.Float64
}

// stamp is how times are kept: sortable as text, exact to the nanosecond.
const stamp = "2006-01-02T15:04:05.000000000Z"

func when(t time.Time) string { return t.UTC().Format(stamp) }

func parseWhen(s string) (time.Time, error) { return time.Parse(stamp, s) }
