package book

import (
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"limbgauge/analyze/health"
)

const benchRuns = 10000

// bigBench makes a bench of 10,000 judged runs of three joints, each with every measure, ten
// revisions and a problem here and there. Run folders are empty: only their names are looked at.
func bigBench(b *testing.B) *Book {
	b.Helper()
	dir := b.TempDir()
	book, _, err := OpenBook(b.Context(), dir)
	must(b, err)
	b.Cleanup(func() { book.Close() })
	for n := range 10 {
		must(b, book.AddRevision(b.Context(), Revision{Name: string(rune('A' + n)), Made: day(0)}))
	}
	must(b, book.write(b.Context(), func(tx *sql.Tx) error {
		for n := range benchRuns {
			id := fmt.Sprintf("%05d", n+1)
			if err := os.MkdirAll(filepath.Join(dir, "runs", id), 0o755); err != nil {
				return err
			}
			var joints []health.Joint
			for _, name := range []string{"yaw", "hip", "knee"} {
				var ms []health.Measure
				for _, d := range health.Definitions() {
					ms = append(ms, health.Of(d.Name, health.Total, float64(n%100)/100, 0.05, "method"))
				}
				joints = append(joints, found(name, health.BeltSlack, n%100 == 50, ms...))
			}
			i := runInfo(id, day(n), string(rune('A'+n%10)))
			if err := insertRun(b.Context(), tx, i, answer(id, i.Revision, joints...), ""); err != nil {
				return err
			}
		}
		return replay(b.Context(), tx)
	}))
	b.ResetTimer()
	return book
}

func BenchmarkList10000(b *testing.B) {
	book := bigBench(b)
	for b.Loop() {
		if list, err := book.Runs(b.Context()); err != nil || len(list) != benchRuns {
			b.Fatal(len(list), err)
		}
	}
}

func BenchmarkRunsOfRevision10000(b *testing.B) {
	book := bigBench(b)
	for b.Loop() {
		if list, err := book.RunsOf(b.Context(), "C"); err != nil || len(list) != benchRuns/10 {
			b.Fatal(len(list), err)
		}
	}
}

func BenchmarkHistory10000(b *testing.B) {
	book := bigBench(b)
	for b.Loop() {
		if list, err := book.Measured(b.Context(), "knee", "play", health.Total); err != nil || len(list) != benchRuns {
			b.Fatal(len(list), err)
		}
	}
}

func BenchmarkOneRun10000(b *testing.B) {
	book := bigBench(b)
	for b.Loop() {
		if _, _, ok, err := book.Run(b.Context(), "05000"); err != nil || !ok {
			b.Fatal(ok, err)
		}
	}
}

func BenchmarkOpen10000(b *testing.B) {
	book := bigBench(b)
	for b.Loop() {
		again, o, err := OpenBook(b.Context(), book.dir)
		if err != nil || o.Rebuilt {
			b.Fatal(o.Why, err)
		}
		must(b, again.Close())
	}
}

func BenchmarkAddRun10000(b *testing.B) {
	book := bigBench(b)
	n := benchRuns
	for b.Loop() {
		n++
		id := fmt.Sprintf("%05d", n)
		must(b, book.AddRun(b.Context(), runInfo(id, day(n), "C"), answer(id, "C", playJoint(0.2, false))))
	}
}

// The first good runs of a joint that nobody has changed for 10,000 runs.
func BenchmarkUsual10000(b *testing.B) {
	book := bigBench(b)
	must(b, book.write(b.Context(), func(tx *sql.Tx) error {
		_, err := tx.ExecContext(b.Context(), "UPDATE runs SET revision = 'A'")
		return err
	}))
	r := Run{ID: "10001", Started: day(benchRuns), Leg: "fore-left", Revision: "A", Routine: "assembly"}
	for b.Loop() {
		if list, err := book.Usual(b.Context(), r, "knee"); err != nil || len(list) != usualMost {
			b.Fatal(len(list), err)
		}
	}
}

// What "problem list" asks for: every problem, what brought it, and what came of the newest revision.
func BenchmarkProblems10000(b *testing.B) {
	book := bigBench(b)
	must(b, book.write(b.Context(), func(tx *sql.Tx) error {
		// The first problems came with a revision whose parent has a thousand runs and none that shows them.
		for _, q := range []string{"UPDATE revisions SET parent = 'J' WHERE name = 'A'", "DELETE FROM findings WHERE run IN (SELECT id FROM runs WHERE revision = 'J') AND cause <> 'none'"} {
			if _, err := tx.ExecContext(b.Context(), q); err != nil {
				return err
			}
		}
		return replay(b.Context(), tx)
	}))
	for b.Loop() {
		list, err := book.Problems(b.Context())
		must(b, err)
		if len(list) == 0 {
			b.Fatal("no problems")
		}
		for _, p := range list {
			_, err := book.BroughtBy(b.Context(), p)
			must(b, err)
		}
		_, err = book.OutcomeOf(b.Context(), "J")
		must(b, err)
	}
}
