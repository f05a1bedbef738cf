package book

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"limbgauge/analyze/health"
	"limbgauge/rig/record"
)

// File is the name of the book in a bench folder.
const File = "book.db"

// Book is the open catalogue of one bench. Any number of readers may have it open; writers wait
// for one another up to 5 s.
type Book struct {
	// Mended, where it is not nil, is told when the book was found to be damaged and was made anew
	// while it was open. It must not ask the book.
	Mended func(Opened)

	dir  string
	mu   sync.RWMutex // guards what mending replaces
	db   *sql.DB
	file os.FileInfo // of the file that db has open
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
	// Bare is true for a run of the bare servo: it says nothing of the joint.
	Bare bool `json:"bare_servo,omitempty"`
	// Setups names how each joint was built and loaded, as "joint" and digest in turn, in JSON: runs
	// of one digest compare.
	Setups string `json:"setups,omitempty"`
	// State says whether the samples are sealed; a run that was cut stays in its journal until then.
	State record.State `json:"state,omitempty"`
}

// Joints returns the names of the run's joints in their order.
func (r Run) Joints() (names []string) {
	pairs, err := fromList(r.Setups)
	if err != nil {
		return nil
	}
	for i := 0; i < len(pairs); i += 2 {
		names = append(names, pairs[i])
	}
	return names
}

// Close closes the book.
func (b *Book) Close() error {
	if db := b.conn(); db != nil {
		return db.Close()
	}
	return nil
}

// write runs f in one transaction that nobody else writes beside. Where it meets a damaged book it is
// run again with one made anew.
func (b *Book) write(ctx context.Context, f func(*sql.Tx) error) error {
	return b.sound(ctx, func(db *sql.DB) error { return b.writeTo(ctx, db, f) })
}

func (b *Book) writeTo(ctx context.Context, db *sql.DB, f func(*sql.Tx) error) error {
	tx, err := db.BeginTx(ctx, nil)
	if busy(err) {
		return fmt.Errorf("%s is in use by another program; close it and try again: %w", filepath.Join(b.dir, File), err)
	}
	if err != nil {
		return err
	}
	if err := f(tx); err != nil {
		back := tx.Rollback()
		if errors.Is(back, sql.ErrTxDone) { // a cancelled command has rolled back already
			back = nil
		}
		return errors.Join(err, back)
	}
	return tx.Commit()
}

// AddRun puts a judged run into the book and follows what it says of problems. h may have no
// joints: the run was not judged. A run that is there already is replaced, and where its answer is
// another one the problems are followed anew from the beginning.
func (b *Book) AddRun(ctx context.Context, i record.Info, h health.Health) error {
	mark := markOf(record.RunDir(b.dir, i.Run))
	err := b.write(ctx, func(tx *sql.Tx) error {
		var known string
		err := tx.QueryRowContext(ctx, "SELECT mark FROM runs WHERE id = ?", i.Run).Scan(&known)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		if known == mark && mark != "" { // the book caught up with the folder when it was opened
			return nil
		}
		return newWriter(tx).takeIn(ctx, []taken{{i, h, mark}})
	})
	if err != nil {
		return fmt.Errorf("put run %s into the book: %w", i.Run, err)
	}
	return nil
}

func eventOf(r Run, joints []health.Joint) RunEvent {
	if r.Bare { // what the servo does by itself opens and cures no problem of the joint
		joints = nil
	}
	return RunEvent{When: r.Started, Run: r.ID, Revision: r.Revision, Routine: r.Routine, Whole: r.Whole, Joints: joints}
}

// AddRevision writes a revision into history.toml and then into the book. The file is written under
// the book's write lock: where the lock is not to be had, nothing is written at all.
func (b *Book) AddRevision(ctx context.Context, r Revision) error {
	if err := CheckRevisionName(r.Name); err != nil {
		return err
	}
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
	return b.tell(ctx, historyBlock{Revision: []Revision{r}}, func(tx *sql.Tx) (Event, error) {
		var place int
		if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM revisions").Scan(&place); err != nil {
			return nil, err
		}
		return History{Revisions: []Revision{r}}.events()[0], insertRevision(ctx, tx, r, place)
	})
}

// AddService writes a service into history.toml and then into the book, and returns its number.
func (b *Book) AddService(ctx context.Context, s Service) (int, error) {
	if err := b.checkAnswers(ctx, s.Answers); err != nil {
		return 0, err
	}
	err := b.tell(ctx, historyBlock{Service: []Service{s}}, func(tx *sql.Tx) (Event, error) {
		if err := tx.QueryRowContext(ctx, "SELECT 1 + count(*) FROM services").Scan(&s.ID); err != nil {
			return nil, err
		}
		return History{Services: []Service{s}}.events()[0], insertService(ctx, tx, s)
	})
	return s.ID, err
}

// AddNote writes a note on a problem into history.toml and then into the book. A note on a
// problem that is not there opens it by hand.
func (b *Book) AddNote(ctx context.Context, n Note) error {
	return b.tell(ctx, historyBlock{Note: []Note{n}}, func(tx *sql.Tx) (Event, error) {
		return History{Notes: []Note{n}}.events()[0], insertNote(ctx, tx, n)
	})
}

// tell writes a block into history.toml and then, with insert, into the book, and follows what it says.
func (b *Book) tell(ctx context.Context, block historyBlock, insert func(*sql.Tx) (Event, error)) error {
	written := false
	err := b.sound(ctx, func(db *sql.DB) error {
		if written { // into the file, before the book was found damaged: made anew from it, it has the block
			return nil
		}
		return b.writeTo(ctx, db, func(tx *sql.Tx) error {
			if err := appendHistory(b.dir, block); err != nil {
				return err
			}
			written = true
			newest, err := newestEvent(ctx, tx)
			if err != nil {
				return err
			}
			e, err := insert(tx)
			if err != nil {
				return err
			}
			return follow(ctx, tx, newest, false, e)
		})
	})
	return err
}

// checkAnswers refuses names of problems that are not there.
func (b *Book) checkAnswers(ctx context.Context, answers []string) error {
	problems, err := b.Problems(ctx)
	if err != nil {
		return err
	}
	l := Life{Problems: problems}
	for _, a := range answers {
		if a == AnswersNone && len(answers) == 1 {
			continue
		}
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

// stamp is how times are kept: sortable as text, exact to the nanosecond.
const stamp = "2006-01-02T15:04:05.000000000Z"

func when(t time.Time) string { return t.UTC().Format(stamp) }

func parseWhen(s string) (time.Time, error) { return time.Parse(stamp, s) }
