package book

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"limbgauge/analyze/health"
)

// Joints stand in the order of the run, before and after a rebuild, and so do problems.
func TestOrderOfJointsSurvives(t *testing.T) {
	dir := t.TempDir()
	b, _ := open(t, dir)
	keepRun(t, b, 1, day(1), "A", found("yaw", health.HighFriction, true), found("hip", health.HighFriction, true), found("knee", health.HighFriction, true))
	order := func() (joints, problems []string) {
		_, js, _, err := b.Run(t.Context(), "0001")
		must(t, err)
		for _, j := range js {
			joints = append(joints, j.Joint)
		}
		ps, err := b.Problems(t.Context())
		must(t, err)
		for _, p := range ps {
			problems = append(problems, p.Joint)
		}
		return
	}
	joints, live := order()
	if want := []string{"yaw", "hip", "knee"}; !slices.Equal(joints, want) {
		t.Errorf("joints %v, want %v", joints, want)
	}
	if _, err := b.Rebuild(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, again := order(); !slices.Equal(again, live) {
		t.Errorf("problems %v after the rebuild, %v before", again, live)
	}
}

// bench.toml allows a space within a joint's name; what answers its problem must not answer others.
func TestAnswersWithSpaces(t *testing.T) {
	dir := t.TempDir()
	b, _ := open(t, dir)
	keepRun(t, b, 1, day(1), "A", found("left knee", health.HighFriction, true), found("hip", health.Creep, true))
	_, err := b.AddService(t.Context(), Service{When: day(2), What: "oiled", Answers: []string{"left knee/high_friction"}})
	must(t, err)
	live := dump(t, b)
	if _, err := b.Rebuild(t.Context()); err != nil {
		t.Fatal(err)
	}
	if p := state(t, b, Ref{"hip", health.Creep}); p.State != Open {
		t.Errorf("hip was answered by oil for the knee: %s", p.State)
	}
	if again := dump(t, b); again != live {
		t.Error("the rebuilt book differs")
	}
}

// A slip of the hand in history.toml must be said, and must not answer everything.
func TestSlipsInHistoryAreSaid(t *testing.T) {
	for name, block := range map[string]string{
		"answers": "[[service]]\nwhen = 2026-03-03T09:00:00Z\nwhat = \"x\"\nanswers = [\"knee/belt_slak\"]\n",
		"state":   "[[note]]\nwhen = 2026-03-03T09:00:00Z\njoint = \"knee\"\ncause = \"creep\"\nstate = \"curd\"\ntext = \"x\"\n",
		"cause":   "[[note]]\nwhen = 2026-03-03T09:00:00Z\njoint = \"knee\"\ncause = \"rust\"\ntext = \"x\"\n",
	} {
		t.Run(name, func(t *testing.T) {
			_, err := parseHistory("h", block+"[[service]]\nwhen = 2026-03-04T09:00:00Z\nwhat = \"x\"\n")
			if err == nil || !strings.Contains(err.Error(), name) {
				t.Errorf("taken without a word: %v", err)
			}
		})
	}
	_, err := parseHistory("h", strings.Repeat("[[revision]]\nname = \"A\"\nmade = 2026-03-03T09:00:00Z\n", 2))
	var he *HistoryError
	if !errors.As(err, &he) || he.Line != 4 {
		t.Errorf("the second A stands in line 4: %v", err)
	}
}

// A run analysed after the book was made: the answer beside the samples must reach the book even
// when the command ended between the two.
func TestAnswerWrittenBesideTheBook(t *testing.T) {
	dir := t.TempDir()
	i := runInfo("0001", day(1), "A")
	writeRun(t, dir, i, nil)
	b, _ := open(t, dir)
	if rs, _ := b.Runs(t.Context()); len(rs) != 1 || rs[0].Judged {
		t.Fatalf("%+v", rs)
	}
	must(t, b.Close())
	h := answer("0001", "A", playJoint(0.8, true))
	writeRun(t, dir, i, &h)
	b, _ = open(t, dir)
	if rs, _ := b.Runs(t.Context()); len(rs) != 1 || !rs[0].Judged {
		t.Errorf("the answer beside the run did not reach the book: %+v", rs)
	}
}

// A cancelled command and a folder that may not be read are no damage.
func TestGoodBookIsNotPutAside(t *testing.T) {
	dir := t.TempDir()
	b, _ := open(t, dir)
	story(t, b)
	must(t, b.Close())
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	b, o, err := OpenBook(ctx, dir)
	if b != nil && err == nil {
		b.Close()
	}
	if !errors.Is(err, context.Canceled) || o.MovedTo != "" {
		t.Errorf("cancelled: %v, put aside as %q", err, o.MovedTo)
	}
	if _, err := os.Stat(filepath.Join(dir, File)); err != nil {
		t.Error("the good book is gone")
	}
}

// Folders have all kinds of names; the book is in the folder and nowhere else.
func TestFolderNames(t *testing.T) {
	for _, name := range []string{"my bench", "bench #1", "100%25", "what?", "a&b=c"} {
		if runtime.GOOS == "windows" && strings.Contains(name, "?") {
			continue
		}
		t.Run(name, func(t *testing.T) {
			top := t.TempDir()
			dir := filepath.Join(top, name)
			must(t, os.Mkdir(dir, 0o755))
			b, _ := open(t, dir)
			keepRun(t, b, 1, day(1), "A", playJoint(0.8, true))
			if _, err := os.Stat(filepath.Join(dir, File)); err != nil {
				t.Error(err)
			}
			if list, _ := os.ReadDir(top); len(list) != 1 {
				t.Errorf("something landed beside the bench: %v", list)
			}
			must(t, b.Close())
			if b, o := open(t, dir); o.Rebuilt {
				t.Errorf("rebuilt: %s", o.Why)
			} else if rs, _ := b.Runs(t.Context()); len(rs) != 1 {
				t.Errorf("%d runs", len(rs))
			}
		})
	}
}

// Several programs open a bench without a book at once: all get the whole book.
func TestOpenAtOnce(t *testing.T) {
	dir := t.TempDir()
	b, _ := open(t, dir)
	story(t, b)
	live := dump(t, b)
	must(t, b.Close())
	for range 5 {
		must(t, os.Remove(filepath.Join(dir, File)))
		var wg sync.WaitGroup
		books, errs := make([]*Book, 6), make([]error, 6)
		for i := range books {
			wg.Go(func() { books[i], _, errs[i] = OpenBook(t.Context(), dir) })
		}
		wg.Wait()
		for i, b := range books {
			if errs[i] != nil {
				t.Errorf("%v", errs[i])
				continue
			}
			if dump(t, b) != live {
				t.Error("a book differs")
			}
		}
		for i, b := range books {
			if errs[i] == nil {
				must(t, b.Close())
			}
		}
	}
}

// Two programs add at once: nothing is lost, nothing is there twice, and the bench opens.
func TestAddAtOnce(t *testing.T) {
	dir := t.TempDir()
	b1, _ := open(t, dir)
	b2, _ := open(t, dir)
	ctx := t.Context()
	for n := range 10 {
		name := string(rune('A' + n))
		var wg sync.WaitGroup
		var errs [2]error
		var ids [2]int
		for i, b := range []*Book{b1, b2} {
			wg.Go(func() {
				errs[i] = b.AddRevision(ctx, Revision{Name: name, Made: day(n)})
				var err error
				ids[i], err = b.AddService(ctx, Service{When: day(n), What: name + string(rune('0'+i))})
				errs[i] = errors.Join(errs[i], err)
			})
		}
		wg.Wait()
		if (errs[0] == nil) == (errs[1] == nil) {
			t.Fatalf("revision %s: %v, %v; one of them should be refused", name, errs[0], errs[1])
		}
		if ids[0] == ids[1] {
			t.Errorf("two services number %d", ids[0])
		}
	}
	live := dump(t, b1)
	if _, err := b2.Rebuild(ctx); err != nil {
		t.Fatal(err)
	}
	if again := dump(t, b1); again != live {
		t.Error("the rebuilt book differs")
	}
}

// A part written by hand without a hash is not known to have changed.
func TestPartWithoutHash(t *testing.T) {
	dir := t.TempDir()
	must(t, os.WriteFile(filepath.Join(dir, "femur.stl"), []byte("abc"), 0o644))
	errs := LookAt(dir, nil, true).Troubles(Revision{Name: "A", Parts: []Part{{Name: "femur", File: "femur.stl"}}})
	if len(errs) != 1 || strings.Contains(errs[0].Error(), "has changed") {
		t.Errorf("%v", errs)
	}
}
