package book

import (
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"limbgauge/analyze/health"
	"limbgauge/rig/record"
)

// story writes a bench with a whole life: A shows slack, a service, a return, B cures it and brings
// a tight spot.
func story(t testing.TB, b *Book) {
	ctx := t.Context()
	must(t, b.AddRevision(ctx, Revision{Name: "A", Made: day(0), Parts: []Part{{Name: "femur", File: "femur.stl", SHA256: "aa", Bytes: 7, MadeOf: "PETG, 4 walls"}}}))
	hip := found("hip", health.TightSpot, false, health.Judge(health.Of("tight_spot", health.Total, 0.01, 0.002, ""), 0.05))
	tight := found("hip", health.TightSpot, true, health.Judge(health.Of("tight_spot", health.Total, 0.09, 0.002, ""), 0.05))
	keepRun(t, b, 1, day(1), "A", hip, playJoint(0.8, true))
	_, err := b.AddService(ctx, Service{When: day(2), What: "belt re-tensioned", Joint: "knee", Part: "belt", Answers: []string{"knee/belt_slack"}})
	must(t, err)
	keepRun(t, b, 2, day(3), "A", hip, playJoint(0.2, false))
	keepRun(t, b, 3, day(4), "A", hip, playJoint(0.9, true))
	must(t, b.AddRevision(ctx, Revision{Name: "B", Parent: "A", Made: day(5), Why: "rib along the belt",
		Parts: []Part{{Name: "femur", File: "femur.stl", SHA256: "bb", Bytes: 8}}}))
	keepRun(t, b, 4, day(6), "B", tight, playJoint(0.2, false))
	must(t, b.AddNote(ctx, Note{When: day(7), Joint: "hip", Cause: health.TightSpot, Text: "the bearing was pressed in askew"}))
}

func TestStoryAndRebuild(t *testing.T) {
	dir := t.TempDir()
	b, o := open(t, dir)
	if !o.Rebuilt || o.Why == "" {
		t.Errorf("a new book says nothing: %+v", o)
	}
	story(t, b)
	p := state(t, b, knee)
	if p.State != Cured || p.ClosedBy != "run 0004" || p.AnsweredBy != "revision B" {
		t.Errorf("%+v", p)
	}
	spot := state(t, b, Ref{"hip", health.TightSpot})
	if rev, err := b.BroughtBy(t.Context(), spot); err != nil || rev != "B" || spot.State != Open {
		t.Errorf("brought by %q (%v): %+v", rev, err, spot)
	}
	if rev, err := b.BroughtBy(t.Context(), p); err != nil || rev != "" {
		t.Errorf("the slack was there from the beginning, yet brought by %q (%v)", rev, err)
	}
	past, err := b.History(t.Context(), "knee", "play")
	must(t, err)
	if len(past) != 4 || past[0].Run.ID != "0001" || past[3].Measures[0].Value != 0.2 || past[3].Run.Revision != "B" {
		t.Errorf("history of play: %+v", past)
	}
	withB, err := b.RunsWithFile(t.Context(), "bb")
	must(t, err)
	if len(withB) != 1 || withB[0].ID != "0004" || withB[0].Lost != 3 {
		t.Errorf("runs with the file of B: %+v", withB)
	}
	live := dump(t, b)
	if _, err := b.Rebuild(t.Context()); err != nil {
		t.Fatal(err)
	}
	if again := dump(t, b); again != live {
		t.Errorf("rebuilt book differs:\n%s\nwas\n%s", again, live)
	}
	must(t, b.Close())
	for _, f := range []string{"", "-wal", "-shm"} {
		if err := os.Remove(filepath.Join(dir, File+f)); err != nil && !os.IsNotExist(err) {
			t.Fatal(err)
		}
	}
	b2, o := open(t, dir)
	if !o.Rebuilt || !strings.Contains(o.Why, "no "+File) || len(o.Warnings) > 0 {
		t.Errorf("%+v", o)
	}
	if again := dump(t, b2); again != live {
		t.Errorf("book made after deletion differs:\n%s\nwas\n%s", again, live)
	}
	must(t, b2.Close())
	if _, o := open(t, dir); o.Rebuilt {
		t.Errorf("a whole book was rebuilt: %s", o.Why)
	}
}

func TestMeasuresSurvive(t *testing.T) {
	dir := t.TempDir()
	b, _ := open(t, dir)
	j := found("knee", health.BeltSlack, true,
		health.Of("play", health.Transmission, 0.62, 0.04, "loop"),
		health.Unseen("creep", health.Total, "", "no hold"),
		health.Bound("belt_tension", health.Transmission, health.BoundLow, 31, nan, "", "no knee"))
	keepRun(t, b, 1, day(0), "A", j)
	_, got, ok, err := b.Run(t.Context(), "0001")
	if err != nil || !ok || fmt.Sprintf("%+v", got) != fmt.Sprintf("%+v", []health.Joint{j}) {
		t.Errorf("%v %v\n%+v\n%+v", ok, err, got, j)
	}
	if _, _, ok, err := b.Run(t.Context(), "0099"); ok || err != nil {
		t.Errorf("a run that is not there: %v %v", ok, err)
	}
}

func TestDamagedBookIsPutAside(t *testing.T) {
	for name, spoil := range map[string]func([]byte) []byte{
		"no database":     func([]byte) []byte { return []byte(strings.Repeat("not a database ", 400)) },
		"cut":             func(d []byte) []byte { return d[:len(d)/2] },
		"spoiled within":  func(d []byte) []byte { copy(d[4096:], strings.Repeat("\xff", len(d)-4096)); return d },
		"of length zero":  func([]byte) []byte { return nil },
		"spoiled at head": func(d []byte) []byte { copy(d, strings.Repeat("\x00", 100)); return d },
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			b, _ := open(t, dir)
			story(t, b)
			live := dump(t, b)
			_, err := b.db.Exec("PRAGMA wal_checkpoint(TRUNCATE)")
			must(t, err)
			must(t, b.Close())
			path := filepath.Join(dir, File)
			data, err := os.ReadFile(path)
			must(t, err)
			bad := spoil(data)
			must(t, os.WriteFile(path, bad, 0o644))
			b2, o := open(t, dir)
			if !o.Rebuilt {
				t.Fatalf("%+v", o)
			}
			if len(bad) > 0 {
				kept, err := os.ReadFile(o.MovedTo)
				if err != nil || string(kept) != string(bad) {
					t.Errorf("the damaged book was not kept as it was: %v, %+v", err, o)
				}
			}
			if again := dump(t, b2); again != live {
				t.Error("the rebuilt book differs")
			}
		})
	}
}

func TestOlderAndNewerSchema(t *testing.T) {
	dir := t.TempDir()
	b, _ := open(t, dir)
	story(t, b)
	live := dump(t, b)
	version := func(n int) {
		_, err := b.db.Exec(fmt.Sprintf("PRAGMA user_version = %d", n))
		must(t, err)
		must(t, b.Close())
	}
	version(0)
	b, o := open(t, dir)
	if !o.Rebuilt || !strings.Contains(o.Why, "older schema") || dump(t, b) != live {
		t.Errorf("%+v", o)
	}
	version(99)
	if _, _, err := OpenBook(t.Context(), dir); err == nil || !strings.Contains(err.Error(), "newer one") {
		t.Errorf("a newer book: %v", err)
	}
}

func TestForeignKeysAreOn(t *testing.T) {
	b, _ := open(t, t.TempDir())
	if _, err := b.db.Exec("INSERT INTO parts VALUES ('none', 0, 'p', '', '', 0, '')"); err == nil {
		t.Error("a part of no revision was taken")
	}
}

// What one program does while another writes: nothing is written, not in history.toml either.
func TestLockedBookSaysSo(t *testing.T) {
	dir := t.TempDir()
	first, _ := open(t, dir)
	db, err := sql.Open("sqlite", dsn(filepath.Join(dir, File), 20*time.Millisecond))
	must(t, err)
	hasty := &Book{db: db, dir: dir} // for a test, 5 s are long
	defer hasty.Close()
	tx, err := first.db.BeginTx(t.Context(), nil)
	must(t, err)
	defer tx.Rollback()
	ctx := t.Context()
	_, serviceErr := hasty.AddService(ctx, Service{When: day(0), What: "x"})
	for what, err := range map[string]error{
		"run":      hasty.AddRun(ctx, record.Info{Run: "0001", Started: day(0)}, health.Health{}),
		"revision": hasty.AddRevision(ctx, Revision{Name: "A", Made: day(0)}),
		"service":  serviceErr,
		"note":     hasty.AddNote(ctx, Note{When: day(0), Joint: "knee", Cause: health.Creep, Text: "x"}),
	} {
		if err == nil || !strings.Contains(err.Error(), "in use by another program") {
			t.Errorf("%s: %v", what, err)
		}
	}
	if exists(filepath.Join(dir, HistoryFile)) {
		t.Error("history.toml was written all the same")
	}
	if list, err := hasty.Runs(ctx); err != nil || len(list) != 0 {
		t.Errorf("a reader waits for a writer: %v, %v", list, err)
	}
}

// A redesign brought what its parent, tried the same way, never showed.
func TestBroughtBy(t *testing.T) {
	healthy, slack := playJoint(0.2, false), playJoint(0.8, true)
	quick := func(r record.Info) record.Info { r.Routine = "quick"; return r }
	cut := func(r record.Info) record.Info { r.End.How = record.Stopped; return r }
	same := func(r record.Info) record.Info { return r }
	for _, c := range []struct {
		name   string
		before health.Joint
		as     func(record.Info) record.Info
		after  *health.Joint // of the parent, once more
		want   string
	}{
		{"the parent was healthy", healthy, same, nil, "B"},
		{"the parent was healthy, then and again", healthy, same, &healthy, "B"},
		{"the parent shows it too, later", healthy, same, &slack, ""},
		{"the parent was tried another way", healthy, quick, nil, ""},
		{"the parent's run was cut short", healthy, cut, nil, ""},
		{"another joint of the parent", found("hip", health.BeltSlack, false), same, nil, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, _ := open(t, t.TempDir())
			ctx := t.Context()
			must(t, b.AddRevision(ctx, Revision{Name: "A", Made: day(0)}))
			add := func(id string, at int, rev string, j health.Joint, as func(record.Info) record.Info) {
				must(t, b.AddRun(ctx, as(runInfo(id, day(at), rev)), answer(id, rev, j)))
			}
			add("0001", 1, "A", c.before, c.as)
			must(t, b.AddRevision(ctx, Revision{Name: "B", Parent: "A", Made: day(2)}))
			add("0002", 3, "B", slack, same)
			if c.after != nil {
				add("0003", 4, "A", *c.after, same)
			}
			if got, err := b.BroughtBy(ctx, state(t, b, knee)); got != c.want || err != nil {
				t.Errorf("brought by %q (%v), want %q", got, err, c.want)
			}
		})
	}
}
