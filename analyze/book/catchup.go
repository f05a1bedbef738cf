package book

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"

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
	known, err := b.known(ctx)
	if err != nil {
		return o, err
	}
	folders, err := b.folders()
	if err != nil {
		return o, err
	}
	told, err := history(ctx, b.db)
	if err != nil {
		return o, err
	}
	if o.Why = why(sameHistory(h, told), known, folders); o.Why != "" {
		o.Rebuilt = true
		err = b.rebuild(ctx, &o)
		return o, err
	}
	if h.Torn != nil {
		o.Warnings = append(o.Warnings, h.Torn)
	}
	var changed []string
	for i, mark := range b.marks(folders) {
		id := folders[i]
		was, ok := known[id]
		if !ok || was.mark != mark {
			changed = append(changed, id)
			continue
		}
		if !was.judged && strings.Contains(mark, healthMark) { // its answer could not be read
			if _, _, err := ReadHealth(record.RunDir(b.dir, id)); err != nil {
				o.Warnings = append(o.Warnings, err)
			}
		}
	}
	if len(changed) > 0 {
		err = b.takeChanged(ctx, changed, &o)
	}
	return o, err
}

// why says why a book must be made anew, nothing where it need not.
func why(sameHistory bool, known map[string]knownRun, folders []string) string {
	if !sameHistory {
		return HistoryFile + " had changed"
	}
	there := 0
	for _, id := range folders {
		if _, ok := known[id]; ok {
			there++
		}
	}
	if there < len(known) {
		return "runs it knew are gone"
	}
	return ""
}

// takeChanged takes in the run folders named.
func (b *Book) takeChanged(ctx context.Context, changed []string, o *Opened) (err error) {
	slices.SortFunc(changed, func(a, b string) int { return cmp.Compare(numberOf(a), numberOf(b)) })
	if len(changed) > mostSteps {
		return b.writeTo(ctx, b.db, func(tx *sql.Tx) error {
			if o.Took, err = b.putAll(ctx, newWriter(tx), changed, o); err != nil {
				return err
			}
			return replay(ctx, tx)
		})
	}
	list := b.readFolders(changed, o)
	if len(list) == 0 { // what is recorded just now, or can not be read
		return nil
	}
	for _, t := range list {
		o.Took = append(o.Took, t.info.Run)
	}
	return b.writeTo(ctx, b.db, func(tx *sql.Tx) error { return newWriter(tx).takeIn(ctx, list) })
}

// atOnce is how many run folders are in memory at a time.
const atOnce = 64

// putAll puts in the run folders named, without following what they say, and returns those that are in.
func (b *Book) putAll(ctx context.Context, w *writer, ids []string, o *Opened) (in []string, err error) {
	for some := range slices.Chunk(ids, atOnce) {
		for _, t := range b.readFolders(some, o) {
			if err := w.run(ctx, t.info, t.health, t.mark); err != nil {
				return in, err
			}
			in = append(in, t.info.Run)
		}
	}
	return in, nil
}

// readFolders reads the run folders named and tells in o what came of each.
func (b *Book) readFolders(ids []string, o *Opened) (list []taken) {
	read, told := make([]*taken, len(ids)), make([]Opened, len(ids))
	inParallel(len(ids), func(i int) {
		read[i] = take(record.Read(b.dir, ids[i:i+1])[0], &told[i])
	})
	for i, t := range read {
		o.Outside, o.Warnings = append(o.Outside, told[i].Outside...), append(o.Warnings, told[i].Warnings...)
		if t != nil {
			list = append(list, *t)
		}
	}
	return list
}

// inParallel calls f with all numbers below n on all processors.
func inParallel(n int, f func(i int)) {
	var wg sync.WaitGroup
	workers := runtime.GOMAXPROCS(0)
	for w := range workers {
		wg.Go(func() {
			for i := w; i < n; i += workers {
				f(i)
			}
		})
	}
	wg.Wait()
}

// take reads one run folder; nil where it can not be, and then a warning says why, or the run is still
// being recorded and comes in as it ends.
func take(e record.Entry, o *Opened) *taken {
	mark := markOf(e.Dir) // before the answer is read: what changes from here on is seen next time
	if e.Err == nil && !e.Live && e.Info.Run != e.ID {
		// Taken in under either name, one of two runs would hide the other.
		e.Err = &record.InputError{Path: filepath.Join(e.Dir, "run.json"),
			Problem: fmt.Sprintf("run: it says %q, but the folder is %s", e.Info.Run, e.ID),
			Hint:    "give folder and \"run\" the same number; until then the run is not in the book"}
	}
	if e.Err != nil || e.Live {
		o.Outside = append(o.Outside, e)
	}
	if e.Err != nil {
		o.Warnings = append(o.Warnings, e.Err)
		return nil
	}
	if e.Live {
		return nil
	}
	answer, _, err := ReadHealth(e.Dir)
	if err != nil {
		o.Warnings = append(o.Warnings, err)
	}
	return &taken{e.Info, answer, mark}
}

// healthMark begins what a mark says of the answer.
const healthMark = " answer "

// markOf says which state of a run's folder was read, without reading it: size and time of what can
// change after the recording.
func markOf(dir string) string {
	var mark []byte
	for i, name := range []string{"run.json", HealthFile} {
		st, err := os.Stat(dir + string(filepath.Separator) + name)
		if err != nil {
			continue
		}
		if i > 0 {
			mark = append(mark, healthMark...)
		}
		mark = strconv.AppendInt(mark, st.Size(), 10)
		mark = append(mark, '@')
		mark = strconv.AppendInt(mark, st.ModTime().UnixNano(), 10)
	}
	return string(mark)
}

// marks returns the marks of run folders, in their order.
func (b *Book) marks(folders []string) []string {
	out := make([]string, len(folders))
	inParallel(len(folders), func(i int) { out[i] = markOf(record.RunDir(b.dir, folders[i])) })
	return out
}

// knownRun is the state in which a run's folder came into the book.
type knownRun struct {
	mark   string
	judged bool
}

func (b *Book) known(ctx context.Context) (map[string]knownRun, error) {
	out := map[string]knownRun{}
	_, err := rows(ctx, b.db, func(rs *sql.Rows) (struct{}, error) {
		var id string
		var k knownRun
		err := rs.Scan(&id, &k.mark, &k.judged)
		out[id] = k
		return struct{}{}, err
	}, "SELECT id, mark, judged FROM runs")
	return out, err
}

// folders returns the names of all run folders, by name alone.
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
		if e.IsDir() && record.IsRun(e.Name()) {
			out = append(out, e.Name())
		}
	}
	return out, nil
}
