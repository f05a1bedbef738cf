// Package book is the catalogue of a bench: revisions of the leg with their parts, services, runs
// with their measures and findings, and problems followed over time.
//
// The book itself, book.db (SQLite), only remembers: it can be deleted at any time and is made
// again from what is true elsewhere. Runs and their answers live in the run folders (run.json,
// health.json), of which the book keeps what is asked for over many runs; revisions, services and
// notes on problems live in history.toml beside the book, a plain text file that only ever grows.
// Both are written before the book is, and a book that has fallen behind them catches up when it is
// opened.
//
// The life of a problem is a pure function of the events in their order, see life.go. Times are
// handed in; nothing here reads a clock.
package book
