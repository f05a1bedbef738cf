package book

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"strconv"
)

// numberOf returns a run's number, 0 for a name that is no number: it sorts first.
func numberOf(id string) int {
	n, err := strconv.Atoi(id)
	if err != nil {
		return 0
	}
	return n
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
