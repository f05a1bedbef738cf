package book

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"limbgauge/rig/record"
)

// catchUp brings a book to what is on the disk: run folders that came or changed are read, and where
// one went or history.toml says something else the book is made anew. Troubles that are still there
// are told each time.
func (b *Book) catchUp(ctx context.Context) (o Opened, err error) {
	h, err := ReadHistory(b.dir)
	if err != nil {
		return o, err
	}
	marks, unjudged, err := b.marks(ctx)
	if err != nil {
		return o, err
	}
	folders, err := b.folders()
	if err != nil {
		return o, err
	}
	told, err := b.history(ctx)
	if err != nil {
		return o, err
	}
	if o.Why = why(sameHistory(h, told), marks, folders); o.Why != "" {
		o.Rebuilt = true
		o.Warnings, err = b.rebuild(ctx)
		return o, err
	}
	if h.Torn != nil {
		o.Warnings = append(o.Warnings, h.Torn)
	}
	changed := map[string]bool{}
	for _, id := range folders {
		if was, ok := marks[id]; !ok || was != markOf(record.RunDir(b.dir, id)) {
			changed[id] = true
		}
	}
	for _, id := range unjudged {
		if changed[id] {
			continue
		}
		if _, _, err := ReadHealth(record.RunDir(b.dir, id)); err != nil {
			o.Warnings = append(o.Warnings, err)
		}
	}
	if len(changed) > 0 {
		err = b.takeChanged(ctx, changed, &o)
	}
	return o, err
}

// why says why a book must be made anew, nothing where it need not.
func why(sameHistory bool, marks map[string]string, folders []string) string {
	if !sameHistory {
		return HistoryFile + " had changed"
	}
	there := map[string]bool{}
	for _, id := range folders {
		there[id] = true
	}
	for id := range marks {
		if !there[id] {
			return "runs it knew are gone"
		}
	}
	return ""
}

// takeChanged takes in the run folders named.
func (b *Book) takeChanged(ctx context.Context, changed map[string]bool, o *Opened) error {
	entries, err := record.List(b.dir)
	if err != nil {
		return err
	}
	entries = slices.DeleteFunc(entries, func(e record.Entry) bool { return !changed[e.ID] })
	if len(entries) == 0 { // folders that are no runs
		return nil
	}
	return b.write(ctx, func(tx *sql.Tx) error {
		newest, err := newestEvent(ctx, tx)
		if err != nil {
			return err
		}
		var took []Run
		anew := false
		for _, e := range entries {
			known, err := runs(ctx, tx, "WHERE id = ?", e.ID)
			if err != nil {
				return err
			}
			r, w, err := take(ctx, tx, e)
			if err != nil {
				return err
			}
			o.Warnings = append(o.Warnings, w...)
			if r != nil {
				took, o.Took = append(took, *r), append(o.Took, r.ID)
				anew = anew || len(known) > 0 || !r.Started.After(newest)
			}
		}
		switch {
		case len(took) == 0:
			return nil
		case anew || len(took) > 1:
			return replay(ctx, tx)
		}
		joints, err := judged(ctx, tx, took[0].ID)
		if err != nil {
			return err
		}
		return step(ctx, tx, eventOf(took[0], joints))
	})
}

// take reads one run folder into the book; r is nil where it can not be, and then a warning says why,
// or the run is still being recorded and comes in as it ends.
func take(ctx context.Context, tx *sql.Tx, e record.Entry) (r *Run, warnings []error, err error) {
	mark := markOf(e.Dir) // before the files are read: what changes from here on is seen next time
	if e.Err != nil {
		return nil, []error{e.Err}, nil
	}
	if e.Live {
		return nil, nil, nil
	}
	if e.Info.Run != e.ID {
		// Taken in under either name, one of two runs would hide the other.
		return nil, []error{&record.InputError{Path: filepath.Join(e.Dir, "run.json"),
			Problem: fmt.Sprintf("run: it says %q, but the folder is %s", e.Info.Run, e.ID),
			Hint:    "give folder and \"run\" the same number; until then the run is not in the book"}}, nil
	}
	answer, _, err := ReadHealth(e.Dir)
	if err != nil {
		warnings = append(warnings, err)
	}
	run := RunOf(e.Info)
	return &run, warnings, insertRun(ctx, tx, e.Info, answer, mark)
}

// markOf says which state of a run's folder was read, without reading it: size and time of what can
// change after the recording.
func markOf(dir string) string {
	mark := ""
	for _, name := range []string{"run.json", HealthFile} {
		if st, err := os.Stat(filepath.Join(dir, name)); err == nil {
			mark += fmt.Sprintf("%d@%d ", st.Size(), st.ModTime().UnixNano())
		}
	}
	return mark
}

// marks returns the mark of every run in the book, and the runs that have no answer.
func (b *Book) marks(ctx context.Context) (marks map[string]string, unjudged []string, err error) {
	marks = map[string]string{}
	_, err = rows(ctx, b.db, func(rs *sql.Rows) (struct{}, error) {
		var id, mark string
		var judged bool
		err := rs.Scan(&id, &mark, &judged)
		marks[id] = mark
		if !judged {
			unjudged = append(unjudged, id)
		}
		return struct{}{}, err
	}, "SELECT id, answer, judged FROM runs ORDER BY number, id")
	return marks, unjudged, err
}

// folders returns the names of all folders among the runs, by name alone.
func (b *Book) folders() ([]string, error) {
	list, err := os.ReadDir(filepath.Join(b.dir, "runs"))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("list runs: %w", err)
	}
	var out []string
	for _, e := range list {
		if e.IsDir() {
			out = append(out, e.Name())
		}
	}
	return out, nil
}

// history returns what the book holds of history.toml.
func (b *Book) history(ctx context.Context) (h History, err error) {
	if h.Revisions, err = revisions(ctx, b.db); err != nil {
		return h, err
	}
	if h.Services, err = services(ctx, b.db); err != nil {
		return h, err
	}
	h.Notes, err = notes(ctx, b.db)
	return h, err
}
