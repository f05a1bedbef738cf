package book

import (
	"bytes"
	"database/sql"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig/record"
)

// A book that is damaged where opening does not look is found so by the question that reads there: it is
// put aside, made anew, and the question answered as if nothing had been.
func TestDamageIsNoticedWhereItIsRead(t *testing.T) {
	const mark = 0xA5
	for _, c := range []struct {
		name string
		ask  func(t *testing.T, b *Book)
	}{
		{"the past of a joint", func(t *testing.T, b *Book) {
			if past := pastOf(t, b, "knee"); len(past) != 4 || len(past[0].Measures) != 1 {
				t.Errorf("%+v", past)
			}
		}},
		{"a new run", func(t *testing.T, b *Book) { keepRun(t, b, 5, day(9), "B", playJoint(0.9, true)) }},
		{"a service", func(t *testing.T, b *Book) {
			id, err := b.AddService(t.Context(), Service{When: day(9), What: "oiled"})
			list, listErr := b.Services(t.Context())
			if err != nil || listErr != nil || len(list) != id || list[id-1].What != "oiled" {
				t.Errorf("service %d: %+v, %v, %v", id, list, err, listErr)
			}
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			b, _ := open(t, dir)
			story(t, b)
			must(t, b.Close())
			path := filepath.Join(dir, File)
			data, err := os.ReadFile(path)
			must(t, err)
			// All pages of the tables that opening reads stay whole.
			for _, table := range []string{"past", "forms", "setups", "findings", "problems"} {
				spoilRoot(t, dir, table, data, mark)
			}
			must(t, os.WriteFile(path, data, 0o644))
			b, o := open(t, dir)
			if o.Rebuilt {
				t.Fatalf("opening read it all: %+v", o)
			}
			var told []Opened
			b.Mended = func(o Opened) { told = append(told, o) }
			c.ask(t, b)
			if len(told) != 1 || told[0].MovedTo == "" {
				t.Fatalf("told %+v", told)
			}
			if kept, err := os.ReadFile(told[0].MovedTo); err != nil || !bytes.Equal(kept, data) {
				t.Errorf("the damaged book was not kept as it was: %v", err)
			}
			live := dump(t, b)
			_, err = b.Rebuild(t.Context())
			must(t, err)
			if again := dump(t, b); again != live {
				t.Error("the rebuilt book differs")
			}
			if len(told) != 1 {
				t.Errorf("mended again: %+v", told[1:])
			}
		})
	}
}

// spoilRoot overwrites the root page of a table.
func spoilRoot(t *testing.T, dir, table string, data []byte, with byte) {
	t.Helper()
	b, _ := open(t, dir)
	defer b.Close()
	var page, size int
	must(t, b.db.QueryRow("PRAGMA page_size").Scan(&size))
	must(t, b.db.QueryRow("SELECT rootpage FROM sqlite_schema WHERE name = ?", table).Scan(&page))
	for i := (page - 1) * size; i < page*size; i++ {
		data[i] = with
	}
}

// Another program made the book anew before this one noticed: its book is taken, not put aside.
func TestMendedByAnother(t *testing.T) {
	dir := t.TempDir()
	b, _ := open(t, dir)
	story(t, b)
	live := dump(t, b)
	must(t, os.Rename(filepath.Join(dir, File), filepath.Join(dir, "elsewhere")))
	removeSidecars(filepath.Join(dir, File))
	other, o := open(t, dir)
	if !o.Rebuilt {
		t.Fatalf("%+v", o)
	}
	must(t, b.mend(t.Context(), b.db, errDamaged))
	if dump(t, b) != live || dump(t, other) != live {
		t.Error("the books differ")
	}
	if list, _ := filepath.Glob(filepath.Join(dir, "*damaged*")); len(list) > 0 {
		t.Errorf("put aside: %v", list)
	}
	if p := state(t, b, knee); p.Cause != health.BeltSlack {
		t.Errorf("%+v", p)
	}
}

// A book that is made anew over and over by another program is read whole at every moment: no measure is
// taken for another.
func TestReadWhileMadeAnew(t *testing.T) {
	dir := t.TempDir()
	b, _ := open(t, dir)
	for n := 1; n <= 20; n++ {
		keepRun(t, b, n, day(n), "A", playJoint(float64(n), false), found("hip", health.Creep, false, health.Of("creep", health.Total, 100+float64(n), 1, "m")))
	}
	other, _ := open(t, dir)
	done := make(chan error)
	go func() {
		var err error
		for range 20 {
			// Runs come in another order each time, so that numbers of forms change.
			if err = other.writeTo(t.Context(), other.db, func(tx *sql.Tx) error {
				for _, table := range []string{"findings", "past", "setups", "forms", "runs"} {
					if _, err := tx.Exec("DELETE FROM " + table); err != nil {
						return err
					}
				}
				ids, err := record.IDs(dir)
				if err != nil {
					return err
				}
				rand.Shuffle(len(ids), func(i, j int) { ids[i], ids[j] = ids[j], ids[i] })
				w := newWriter(tx)
				if rand.IntN(2) > 0 { // numbers of forms move
					if _, err := w.once(t.Context(), "forms", w.forms, `{"name": "play"}`); err != nil {
						return err
					}
				}
				var o Opened
				_, err = other.putAll(t.Context(), w, ids, &o)
				return err
			}); err != nil {
				break
			}
		}
		done <- err
	}()
	for {
		select {
		case err := <-done:
			must(t, err)
			return
		default:
		}
		past := pastOf(t, b, "knee")
		if len(past) != 20 {
			t.Fatalf("%d runs", len(past))
		}
		for n, p := range past {
			if len(p.Measures) != 1 || p.Measures[0].Name != "play" || p.Measures[0].Value != float64(n+1) {
				t.Fatalf("run %s: %+v", p.Run.ID, p.Measures)
			}
		}
	}
}
