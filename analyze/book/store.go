package book

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"strconv"
	"time"

	"limbgauge/analyze/health"
	"limbgauge/rig/record"
)

// insertRun puts a run in, in the place of one of that name. mark is that of its folder.
func insertRun(ctx context.Context, tx *sql.Tx, i record.Info, h health.Health, mark string) error {
	r := RunOf(i)
	if _, err := tx.ExecContext(ctx, "DELETE FROM runs WHERE id = ?", r.ID); err != nil {
		return err
	}
	number := numberOf(r.ID)
	_, err := tx.ExecContext(ctx, "INSERT INTO runs VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", r.ID, number, when(r.Started), r.Leg,
		r.Revision, r.Routine, r.Assembly, r.Ended, r.Whole, r.Samples, r.Lost, len(h.Joints) > 0, mark, r.Setups, r.Bare)
	if err != nil {
		return err
	}
	if err := insertPast(ctx, tx, i, h); err != nil {
		return err
	}
	im, err := tx.PrepareContext(ctx, "INSERT INTO measures VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)")
	if err != nil {
		return err
	}
	defer im.Close()
	nm, nf := 0, 0 // places count through the run, so that they keep the order of the joints too
	for _, j := range h.Joints {
		for _, m := range j.Measures {
			nm++
			if _, err := im.ExecContext(ctx, r.ID, j.Joint, nm, m.Name, m.Path, null(m.Value), m.Unit, null(m.Uncertainty),
				m.Status, null(m.Limit), m.Verdict, m.Method, m.Reason, m.LimitFrom); err != nil {
				return err
			}
		}
		for _, f := range j.Findings {
			nf++
			evidence, err := json.Marshal(f.Evidence)
			if err != nil {
				return err
			}
			also, err := json.Marshal(f.CouldAlsoBe)
			if err != nil {
				return err
			}
			if _, err := tx.ExecContext(ctx, "INSERT INTO findings VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", r.ID, j.Joint, nf, f.Cause,
				f.Severity, f.Confidence, f.Part, string(evidence), string(also), f.Next); err != nil {
				return err
			}
		}
	}
	return nil
}

// numberOf returns a run's number, 0 for a name that is no number: it sorts first.
func numberOf(id string) int {
	n, err := strconv.Atoi(id)
	if err != nil {
		return 0
	}
	return n
}

// inBook says whether the book has a run of that name, and whether it is this one with this answer.
func inBook(ctx context.Context, tx *sql.Tx, r Run, joints []health.Joint) (there, same bool, err error) {
	known, err := runs(ctx, tx, "WHERE id = ?", r.ID)
	if err != nil || len(known) == 0 {
		return false, false, err
	}
	judgedBefore, err := judged(ctx, tx, r.ID)
	if err != nil {
		return true, false, err
	}
	// Figures that are not there are NaN, which is never equal to itself; in JSON it is.
	was, err := json.Marshal(judgedBefore)
	if err != nil {
		return true, false, err
	}
	now, err := json.Marshal(joints)
	if err != nil {
		return true, false, err
	}
	r.Started, r.Judged = r.Started.UTC().Round(0), len(joints) > 0
	return true, known[0] == r && (string(was) == string(now) || len(joints)+len(judgedBefore) == 0), nil
}

// list writes names down so that a name may hold anything, a space too.
func list(names []string) (string, error) {
	if len(names) == 0 {
		return "", nil
	}
	data, err := json.Marshal(names)
	return string(data), err
}

func fromList(s string) (names []string, err error) {
	if s != "" {
		err = json.Unmarshal([]byte(s), &names)
	}
	return names, err
}

func insertRevision(ctx context.Context, tx *sql.Tx, r Revision, place int) error {
	answers, err := list(r.Answers)
	if err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, "INSERT INTO revisions VALUES (?, ?, ?, ?, ?, ?)", r.Name, r.Parent, when(r.Made), r.Why,
		answers, place); err != nil {
		return err
	}
	for i, p := range r.Parts {
		if err := insertPart(ctx, tx, r.Name, i, p); err != nil {
			return err
		}
	}
	return nil
}

func insertService(ctx context.Context, tx *sql.Tx, s Service) error {
	answers, err := list(s.Answers)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "INSERT INTO services VALUES (?, ?, ?, ?, ?, ?, ?)", s.ID, when(s.When), s.What, s.Joint, s.Part, answers, s.Replaced)
	return err
}

func insertNote(ctx context.Context, tx *sql.Tx, n Note) error {
	_, err := tx.ExecContext(ctx, "INSERT INTO notes(at, joint, cause, state, part, path, run, text) VALUES (?, ?, ?, ?, ?, ?, ?, ?)", when(n.When), n.Joint, n.Cause, n.State, n.Part, n.Path, n.Run, n.Text)
	return err
}

// querier is a database or a transaction.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// rows runs a query and scans every row.
func rows[T any](ctx context.Context, q querier, scan func(*sql.Rows) (T, error), query string, args ...any) ([]T, error) {
	rs, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("read the book: %w", err)
	}
	defer rs.Close()
	out := []T{}
	for rs.Next() {
		v, err := scan(rs)
		if err != nil {
			return nil, fmt.Errorf("read the book: %w", err)
		}
		out = append(out, v)
	}
	if err := rs.Err(); err != nil {
		return nil, fmt.Errorf("read the book: %w", err)
	}
	return out, nil
}

func newestEvent(ctx context.Context, q querier) (time.Time, error) {
	var s sql.NullString
	err := q.QueryRowContext(ctx, `SELECT max(t) FROM (SELECT max(started) AS t FROM runs UNION ALL SELECT max(made) FROM revisions
		UNION ALL SELECT max(at) FROM services UNION ALL SELECT max(at) FROM notes)`).Scan(&s)
	if err != nil || !s.Valid {
		return time.Time{}, err
	}
	return parseWhen(s.String)
}

// loadLife reads the problems as they stand.
func loadLife(ctx context.Context, q querier) (Life, error) {
	l := Life{designs: map[string]design{}}
	var err error
	if l.Problems, err = problems(ctx, q); err != nil {
		return l, err
	}
	revs, err := revisions(ctx, q)
	if err != nil {
		return l, err
	}
	for _, r := range revs {
		l.designs[r.Name] = design{r.Parent, r.Made}
	}
	l.seen, err = seenBefore(ctx, q, l.Problems)
	return l, err
}

// replay follows the whole story anew from what the book holds.
func replay(ctx context.Context, tx *sql.Tx) error {
	var h History
	var err error
	if h.Revisions, err = revisions(ctx, tx); err != nil {
		return err
	}
	if h.Services, err = services(ctx, tx); err != nil {
		return err
	}
	if h.Notes, err = notes(ctx, tx); err != nil {
		return err
	}
	events := h.events()
	rs, err := runs(ctx, tx, "")
	if err != nil {
		return err
	}
	told, err := shown(ctx, tx)
	if err != nil {
		return err
	}
	under, err := conditions(ctx, tx, "")
	if err != nil {
		return err
	}
	ran := map[string]RunEvent{}
	for _, r := range rs {
		e := eventOf(r, told[r.ID])
		e.Conditions = under[r.ID]
		ran[r.ID] = e
		events = append(events, e)
	}
	for i, e := range events {
		if n, ok := e.(NoteEvent); ok && n.Run != "" {
			n.Of = ran[n.Run]
			events[i] = n
		}
	}
	return saveProblems(ctx, tx, Replay(events).Problems)
}
