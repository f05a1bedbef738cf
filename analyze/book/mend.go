package book

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// A book is not read through when it is opened, as that would take longer than any answer. Damage is
// noticed where it is read: then the book is put aside, made anew from the folders, and asked again.

// conn returns the database as it is now; mending puts another in its place.
func (b *Book) conn() *sql.DB {
	b.mu.RLock()
	defer b.mu.RUnlock()
	return b.db
}

// sound runs f, and once more with a book made anew where f meets a damaged one.
func (b *Book) sound(ctx context.Context, f func(*sql.DB) error) error {
	db := b.conn()
	err := f(db)
	if !damaged(err) && (err == nil || b.conn() == db) { // else it was mended under f's hands
		return err
	}
	if err := b.mend(ctx, db, err); err != nil {
		return err
	}
	return f(b.conn())
}

// ask is sound for what answers something. All that f reads is of one moment: what refers to each other
// would not fit if another program made the book anew in between.
func ask[T any](ctx context.Context, b *Book, f func(q querier) (T, error)) (out T, err error) {
	err = b.sound(ctx, func(db *sql.DB) error {
		tx, err := db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
		if err != nil {
			return fmt.Errorf("read the book: %w", err)
		}
		out, err = f(tx)
		if done := tx.Rollback(); err == nil && done != nil { // nothing was written
			err = fmt.Errorf("read the book: %w", done)
		}
		return err
	})
	return out, err
}

// mend makes the book anew, unless another goroutine has done so since db was asked.
func (b *Book) mend(ctx context.Context, db *sql.DB, found error) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.db != db {
		return nil
	}
	closed := db.Close() // one that is damaged may not even close
	again, o, err := anew(ctx, b.dir, b.file, found)
	if err != nil {
		return errors.Join(fmt.Errorf("mend the book: %w", err), found, closed)
	}
	b.db, b.file = again.db, again.file
	if b.Mended != nil {
		b.Mended(o)
	}
	return nil
}
