package book

import (
	"context"
	"database/sql"
	"fmt"
	"net/url"
	"path/filepath"
	"time"
)

// peekPatience is how long a look waits for another program that is writing.
const peekPatience = 50 * time.Millisecond

// Glance is a book as it lies on the disk, to read only: nothing is made, mended or caught up with the
// run folders. It is for those who would rather know nothing than wait.
type Glance struct{ db *sql.DB }

// Peek opens a book for a glance. One that is missing or of another schema is an error.
func Peek(ctx context.Context, dir string) (*Glance, error) {
	// The name is part of an address, in which # and ? and % would mean something.
	path := (&url.URL{Path: filepath.ToSlash(filepath.Join(dir, File))}).EscapedPath()
	db, err := sql.Open("sqlite", fmt.Sprintf("file:%s?mode=ro&_pragma=busy_timeout(%d)", path, peekPatience.Milliseconds()))
	if err != nil {
		return nil, fmt.Errorf("peek into the book: %w", err)
	}
	version := 0
	if err := db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		db.Close()
		return nil, fmt.Errorf("peek into the book: %w", err)
	}
	if version != len(migrations) {
		db.Close()
		return nil, fmt.Errorf("peek into the book: its schema is %d, not %d", version, len(migrations))
	}
	return &Glance{db}, nil
}

// Close closes the book.
func (g *Glance) Close() error { return g.db.Close() }

// Runs returns every run in the order of their numbers.
func (g *Glance) Runs(ctx context.Context) ([]Run, error) { return runs(ctx, g.db, "") }

// Problems returns every problem in the order they were opened.
func (g *Glance) Problems(ctx context.Context) ([]Problem, error) { return problems(ctx, g.db) }

// Found returns what the runs name first of each joint, run by run. A joint without a cause has none.
func (g *Glance) Found(ctx context.Context) ([]Found, error) { return foundIn(ctx, g.db, nil) }
