package book

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"time"

	"limbgauge/analyze/health"
	"limbgauge/rig/record"
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
	// Bare is true for a run of the bare servo: it says nothing of the joint.
	Bare bool `json:"bare_servo,omitempty"`
	// Setups names how each joint was built and loaded, as "joint" and digest in turn, in JSON: runs
	// of one digest compare.
	Setups string `json:"setups,omitempty"`
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
	r := RunOf(i)
	mark := markOf(record.RunDir(b.dir, r.ID))
	err := b.write(ctx, func(tx *sql.Tx) error {
		there, same, err := inBook(ctx, tx, r, h.Joints)
		if err != nil {
			return err
		}
		if same { // the book caught up with the folder when it was opened
			_, err := tx.ExecContext(ctx, "UPDATE runs SET answer = ? WHERE id = ?", mark, r.ID)
			return err
		}
		if there {
			known, err := judged(ctx, tx, r.ID)
			if err != nil {
				return err
			}
			if len(known) == 0 { // unjudged it told nothing: it is as good as new
				if _, err := tx.ExecContext(ctx, "DELETE FROM runs WHERE id = ?", r.ID); err != nil {
					return err
				}
				there = false
			}
		}
		if there {
			if err := insertRun(ctx, tx, i, h, mark); err != nil {
				return err
			}
			return replay(ctx, tx)
		}
		return follow(ctx, tx, eventOf(r, h.Joints), func() error { return insertRun(ctx, tx, i, h, mark) })
	})
	if err != nil {
		return fmt.Errorf("put run %s into the book: %w", r.ID, err)
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
	return b.write(ctx, func(tx *sql.Tx) error {
		if err := appendHistory(b.dir, historyBlock{Revision: []Revision{r}}); err != nil {
			return err
		}
		var place int
		if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM revisions").Scan(&place); err != nil {
			return err
		}
		return follow(ctx, tx, History{Revisions: []Revision{r}}.events()[0], func() error { return insertRevision(ctx, tx, r, place) })
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
		return follow(ctx, tx, History{Services: []Service{s}}.events()[0], func() error { return insertService(ctx, tx, s) })
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
		return follow(ctx, tx, History{Notes: []Note{n}}.events()[0], func() error { return insertNote(ctx, tx, n) })
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

// follow inserts what happened and takes the problems one event further. An event that is not newer
// than all before it makes the whole story be followed anew, since order matters, and that of equal
// times is the replay's.
func follow(ctx context.Context, tx *sql.Tx, e Event, insert func() error) error {
	newest, err := newestEvent(ctx, tx)
	if err != nil {
		return err
	}
	if err := insert(); err != nil {
		return err
	}
	if !newest.IsZero() && !e.at().After(newest) {
		return replay(ctx, tx)
	}
	return step(ctx, tx, e)
}

// step takes the problems one event further; it is newer than all before it.
func step(ctx context.Context, tx *sql.Tx, e Event) error {
	l, err := loadLife(ctx, tx)
	if err != nil {
		return err
	}
	if e, err = completed(ctx, tx, e); err != nil {
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
