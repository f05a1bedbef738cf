package main

import (
	"context"
	"encoding/json"
	"fmt"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"limbgauge/analyze/book"
	"limbgauge/analyze/health"
	"limbgauge/rig/record"
)

// openBook opens the bench's book and says what that took, where it took something.
func (a *app) openBook(ctx context.Context) (*book.Book, error) {
	b, o, err := book.OpenBook(ctx, a.folder())
	if err != nil {
		return nil, err
	}
	a.sayOpened(o)
	b.Mended = a.sayOpened
	return b, nil
}

// openBookBeside is openBook for whoever lists the runs: those outside the book come back, and what is
// wrong with them is theirs to say.
func (a *app) openBookBeside(ctx context.Context) (*book.Book, []record.Entry, error) {
	b, o, err := book.OpenBook(ctx, a.folder())
	if err != nil {
		return nil, nil, err
	}
	o.Warnings = slices.DeleteFunc(o.Warnings, func(err error) bool {
		return slices.ContainsFunc(o.Outside, func(e record.Entry) bool { return e.Err == err })
	})
	a.sayOpened(o)
	b.Mended = a.sayOpened
	return b, o.Outside, nil
}

func (a *app) sayOpened(o book.Opened) {
	if o.MovedTo != "" {
		fmt.Fprintf(a.err, "limbgauge: the damaged book was put aside as %s\n", o.MovedTo)
	}
	if o.Rebuilt && (o.MovedTo != "" || len(o.Warnings) > 0) {
		fmt.Fprintf(a.err, "limbgauge: the book was made anew: %s\n", o.Why)
	}
	for _, w := range o.Warnings {
		fmt.Fprintf(a.err, "limbgauge: %v\n", w)
	}
}

// withBook runs f with the bench's book open.
func (a *app) withBook(ctx context.Context, f func(*book.Book) error) error {
	b, err := a.openBook(ctx)
	if err != nil {
		return err
	}
	defer b.Close()
	return f(b)
}

// listCommand is a command without arguments that prints something of the book, also as JSON.
func (a *app) listCommand(use, short string, print func(ctx context.Context, b *book.Book, asJSON bool) error) *cobra.Command {
	asJSON := false
	cmd := &cobra.Command{
		Use:   use,
		Short: short,
		Args:  usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.withBook(cmd.Context(), func(b *book.Book) error { return print(cmd.Context(), b, asJSON) })
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

// knownJoint refuses a joint that bench.toml does not describe, so that a slip of the pen opens no
// problem of its own.
func (a *app) knownJoint(name string) error {
	b, err := a.loadBench()
	if err != nil {
		return err
	}
	_, err = jointOf(b, name)
	return err
}

// keep writes a run's answer beside its samples and into the book. The file comes first: the book
// can be made anew from it.
func (a *app) keep(ctx context.Context, r *record.Run, h health.Health) error {
	data, err := json.MarshalIndent(h, "", "  ")
	if err != nil {
		return fmt.Errorf("write the answer: %w", err)
	}
	if err := record.ReplaceFile(filepath.Join(r.Dir, book.HealthFile), append(data, '\n')); err != nil {
		return fmt.Errorf("write the answer: %w", err)
	}
	b, err := a.openBook(ctx)
	if err != nil {
		return err
	}
	defer b.Close()
	return b.AddRun(ctx, r.Info, h)
}
