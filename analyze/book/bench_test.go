//go:build unix

package book

import (
	"math"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"limbgauge/analyze/book/booktest"
)

// BenchmarkBook10000 asks a book of 10,000 runs of three joints. The bench is made once; runs that are
// kept stay in it.
func BenchmarkBook10000(b *testing.B) {
	dir := booktest.Make(b, booktest.Runs)
	begin := time.Now()
	book, o, err := OpenBook(b.Context(), dir)
	must(b, err)
	b.Cleanup(func() { book.Close() })
	if o.Rebuilt {
		b.Logf("made anew in %.1f s", time.Since(begin).Seconds())
	}
	st, err := os.Stat(filepath.Join(dir, File))
	must(b, err)
	b.Logf("the book has %.1f MB", float64(st.Size())/1e6)
	ctx := b.Context()
	times := func(name string, f func(b *testing.B)) {
		b.Run(name, func(b *testing.B) {
			begin := cpuSeconds()
			for b.Loop() {
				f(b)
			}
			b.ReportMetric(1000*(cpuSeconds()-begin)/float64(b.N), "cpu-ms/op") // a busy machine disturbs it less
		})
	}
	// What every command pays before it begins.
	times("open", func(b *testing.B) {
		again, o, err := OpenBook(ctx, dir)
		if err != nil || o.Rebuilt {
			b.Fatal(o.Why, err)
		}
		must(b, again.Close())
	})
	times("list", func(b *testing.B) {
		if list, err := book.Runs(ctx); err != nil || len(list) < booktest.Runs {
			b.Fatal(len(list), err)
		}
	})
	times("newest", func(b *testing.B) {
		if list, _, err := book.Newest(ctx, 30, ""); err != nil || len(list) != 30 {
			b.Fatal(len(list), err)
		}
	})
	times("revision", func(b *testing.B) {
		if list, err := book.RunsOf(ctx, booktest.RevisionB); err != nil || len(list) < booktest.Runs/2 {
			b.Fatal(len(list), err)
		}
	})
	past := func(want ...string) func(b *testing.B) {
		return func(b *testing.B) {
			if list, err := book.History(ctx, "knee", want...); err != nil || len(list) < booktest.Runs || len(list[0].Measures) == 0 {
				b.Fatal(len(list), err)
			}
		}
	}
	times("past of one measure", past("play"))
	times("past of all measures", past())
	times("travel", func(b *testing.B) {
		if list, err := book.History(ctx, "knee", NoMeasures); err != nil || len(list) < booktest.Runs {
			b.Fatal(len(list), err)
		}
	})
	times("run", func(b *testing.B) {
		if _, _, ok, err := book.Run(ctx, "5000"); err != nil || !ok {
			b.Fatal(ok, err)
		}
	})
	// What "problem list" asks for: every problem, what brought it, and what came of the newest revision.
	times("problems", func(b *testing.B) {
		list, err := book.Problems(ctx)
		if err != nil || len(list) == 0 {
			b.Fatal(len(list), err)
		}
		for _, p := range list {
			if _, err := book.BroughtBy(ctx, p); err != nil {
				b.Fatal(err)
			}
		}
		if _, err := book.OutcomeOf(ctx, booktest.RevisionB); err != nil {
			b.Fatal(err)
		}
	})
	// The first good runs of a joint that nobody has changed for long.
	times("usual", func(b *testing.B) {
		r := RunOf(booktest.NewMaker(b).Info(9_900))
		r.Assembly, r.ID = "another", "20000"
		if _, err := book.Usual(ctx, r, "knee"); err != nil {
			b.Fatal(err)
		}
	})
	// What a sweep does once its run is judged: the folder is there, then the book is opened and told.
	newest, err := newestEvent(ctx, book.db)
	must(b, err)
	n := booktest.Runs // a bench that was kept has more
	for !booktest.When(n).After(newest) {
		n++
	}
	keep := func(b *testing.B, n int) {
		b.StopTimer()
		m := booktest.NewMaker(b)
		m.Run(b, dir, n)
		h, _, err := ReadHealth(filepath.Join(dir, "runs", m.Info(n).Run))
		must(b, err)
		b.StartTimer()
		again, _, err := OpenBook(ctx, dir)
		must(b, err)
		must(b, again.AddRun(ctx, m.Info(n), h))
		must(b, again.Close())
	}
	times("keep", func(b *testing.B) { n++; keep(b, n) })
	// A run that is analysed again: the story is followed from its beginning.
	times("keep again", func(b *testing.B) { keep(b, 5000) })
	after := booktest.When(n)
	times("service", func(b *testing.B) {
		after = after.Add(time.Second)
		_, err := book.AddService(ctx, Service{When: after, What: "oiled", Joint: "knee"})
		must(b, err)
	})
	// A folder that can not be read stays among the others.
	times("open beside a broken run", func(b *testing.B) {
		b.StopTimer()
		must(b, os.MkdirAll(filepath.Join(dir, "runs", "99999"), 0o755))
		b.StartTimer()
		again, o, err := OpenBook(ctx, dir)
		if err != nil || len(o.Warnings) != 1 {
			b.Fatal(o.Warnings, err)
		}
		must(b, again.Close())
		b.StopTimer()
		must(b, os.Remove(filepath.Join(dir, "runs", "99999")))
		b.StartTimer()
	})
}

// cpuSeconds returns the processor time of this process, user and system.
func cpuSeconds() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return math.NaN()
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}
