package record

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"limbgauge/rig"
)

// runToTheEnd records three frames of two joints and seals them. It returns how many samples were
// said to be on the disk, whether the run was begun, and whether it was sealed.
func runToTheEnd(d disk, parts [][]*rig.Batch) (safe int, begun, sealed bool, err error) {
	r, err := create(d, ".", infoOf("hip", "knee"))
	if err != nil {
		return 0, false, false, err
	}
	for _, part := range parts {
		for _, b := range part {
			if err = r.Append(b); err != nil {
				break
			}
		}
		if err == nil {
			err = r.Flush()
		}
		if err != nil {
			return safe, true, false, errors.Join(err, r.Close(End{How: Cut}, nil))
		}
		for _, b := range part {
			safe += b.Len()
		}
	}
	if err := r.Close(End{How: Complete}, nil); err != nil {
		return safe, true, false, err
	}
	if _, err = seal(d, r.dir); err != nil {
		return safe, true, false, err
	}
	return safe, true, true, nil
}

func crashParts() (parts [][]*rig.Batch, all []*rig.Batch) {
	all = []*rig.Batch{motion(0, 90, 1), motion(1, 90, 2)}
	for n := range 3 {
		var part []*rig.Batch
		for k := range all {
			b := &rig.Batch{Joint: k}
			appendRows(b, all[k], n*30, n*30+30)
			part = append(part, b)
		}
		parts = append(parts, part)
	}
	return parts, all
}

// The power or the process goes away before every single operation on the disk, from making the
// folder to removing the journal. Whatever was said to be safe must be read afterwards, whole and in
// order; sealing again must work, and a crash of that sealing must not hurt either.
func TestCrashAtEveryStep(t *testing.T) {
	parts, all := crashParts()
	whole := newMemDisk()
	if _, _, sealed, err := runToTheEnd(whole, parts); err != nil || !sealed {
		t.Fatalf("without a crash: %v", err)
	}
	if whole.steps < 25 {
		t.Fatalf("only %d operations: %v", whole.steps, whole.trace)
	}
	for at := 0; at <= whole.steps; at++ {
		for _, how := range []afterCrash{processDied, powerLost, namesKept, tailLost, goneFirst} {
			d := newMemDisk()
			d.crashAt = at
			safe, begun, sealed, err := runToTheEnd(d, parts)
			if (err == nil) != (at == whole.steps) {
				t.Fatalf("crash %d: %v", at, err)
			}
			name := fmt.Sprintf("%s, after %q", how, last(d.trace))
			after := d.crash(how)
			checkSurvivors(t, name, after, all, safe, begun, sealed)
			// A second crash, while what survived is sealed.
			if begun {
				count := after.crash(processDied)
				if _, err := seal(count, "runs/0001"); err != nil {
					t.Fatalf("%s: seal again: %v", name, err)
				}
				for again := range count.steps {
					second := after.crash(processDied)
					second.crashAt = again
					_, _ = seal(second, "runs/0001") // fails by intent
					checkSurvivors(t, name+" and again", second.crash(how), all, safe, true, sealed)
				}
			}
		}
	}
}

func last(trace []string) string {
	if len(trace) < 2 {
		return "nothing"
	}
	return trace[len(trace)-2]
}

func checkSurvivors(t *testing.T, name string, d *memDisk, all []*rig.Batch, safe int, begun, sealed bool) {
	t.Helper()
	entries, err := list(d, ".")
	if err != nil {
		t.Fatalf("%s: list: %v", name, err)
	}
	if !begun {
		return // a folder may be there or not; the list names what is wrong with it
	}
	if len(entries) != 1 || entries[0].Err != nil {
		t.Fatalf("%s: list is %+v", name, entries)
	}
	if i := entries[0].Info; sealed && (i.State != Sealed || i.End.How != Complete || i.Samples() != safe) {
		t.Fatalf("%s: the list has a sealed run as %+v", name, i)
	}
	for _, when := range []string{"found", "sealed again"} {
		r, err := open(d, "runs/0001")
		if err != nil {
			t.Fatalf("%s: %s: %v", name, when, err)
		}
		got := 0
		for k, b := range must(r.Batches())(t) {
			got += b.Len()
			prefix := &rig.Batch{}
			appendRows(prefix, all[k], 0, min(b.Len(), all[k].Len()))
			if !equalBatch(b, prefix) {
				t.Fatalf("%s: %s: joint %d is no beginning of what was recorded", name, when, k)
			}
		}
		if got < safe {
			t.Fatalf("%s: %s: %d samples, but %d were said to be on the disk", name, when, got, safe)
		}
		if sealed && (r.Info.State != Sealed || r.Info.End.How != Complete || r.Info.Samples() != safe) {
			t.Fatalf("%s: %s: a sealed run came back as %+v", name, when, r.Info)
		}
		for _, c := range r.Damage {
			if !errors.Is(c, ErrTorn) && !errors.Is(c, ErrDamaged) {
				t.Fatalf("%s: %s: %v", name, when, c)
			}
		}
		if when == "found" {
			if _, err := seal(d, "runs/0001"); err != nil {
				t.Fatalf("%s: seal again: %v", name, err)
			}
		}
	}
	// Nothing is left but the run and its samples.
	names, err := d.List("runs/0001")
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range names {
		if n == journalName || n == sealedName+tempSuffix {
			t.Fatalf("%s: %s is left in the folder", name, n)
		}
	}
}

// fullDisk fails to write after some bytes, as a full disk does, and works again after that.
type fullDisk struct {
	osDisk
	left *int
}

func (d fullDisk) Create(path string) (file, error) {
	f, err := d.osDisk.Create(path)
	if err != nil || !strings.HasSuffix(path, journalName) {
		return f, err
	}
	return fullFile{f, d.left}, nil
}

type fullFile struct {
	file
	left *int
}

var errFull = errors.New("no space left on device")

func (f fullFile) Write(p []byte) (int, error) {
	if len(p) > *f.left {
		n, err := f.file.Write(p[:*f.left])
		*f.left = 0
		return n, errors.Join(err, errFull)
	}
	*f.left -= len(p)
	return f.file.Write(p)
}

func TestFullDiskKeepsWhatWasWritten(t *testing.T) {
	left := 6000
	d := fullDisk{left: &left}
	r := must(create(d, t.TempDir(), infoOf("knee")))(t)
	b := motion(0, 5000, 1)
	err := r.Append(b)
	if !errors.Is(err, errFull) {
		t.Fatalf("append: %v, want %v", err, errFull)
	}
	if again := r.Append(b); !errors.Is(again, errFull) { // a frame after a torn one would hide it
		t.Errorf("the recorder went on: %v", again)
	}
	left = 1 << 20
	if again := r.Flush(); !errors.Is(again, errFull) {
		t.Errorf("the recorder flushed on: %v", again)
	}
	if err := r.Close(End{How: Stopped, Reason: "stopped by the host"}, nil); !errors.Is(err, errFull) {
		t.Errorf("close: %v", err)
	}
	run := must(Open(r.Dir()))(t)
	got := must(run.Batches())(t)[0]
	if got.Len() == 0 || got.Len()%250 > 1 && got.Len() < 250 {
		t.Fatalf("%d samples survived", got.Len())
	}
	want := &rig.Batch{}
	appendRows(want, b, 0, got.Len())
	sameBatches(t, must(run.Batches())(t), []*rig.Batch{want})
	if len(run.Damage) != 1 || !errors.Is(run.Damage[0], ErrTorn) || !strings.Contains(run.Info.End.Reason, errFull.Error()) {
		t.Errorf("damage %v, end %+v", run.Damage, run.Info.End)
	}
}

// flippingDisk writes one wrong bit into a sealed file, as failing memory or flash does.
type flippingDisk struct {
	osDisk
	at int
}

func (d flippingDisk) Create(path string) (file, error) {
	f, err := d.osDisk.Create(path)
	if err != nil || !strings.HasSuffix(path, sealedName+tempSuffix) {
		return f, err
	}
	return flippingFile{f, d.at}, nil
}

type flippingFile struct {
	file
	at int
}

func (f flippingFile) Write(p []byte) (int, error) {
	p = append([]byte(nil), p...)
	p[f.at%len(p)] ^= 4
	return f.file.Write(p)
}

func TestSealReadsBackBeforeTheJournalGoes(t *testing.T) {
	b := motion(0, 2000, 1)
	dir := recordRun(t, t.TempDir(), infoOf("knee"), b)
	if _, err := seal(flippingDisk{at: 3000}, dir); !errors.Is(err, ErrDamaged) && !errors.Is(err, ErrMismatch) {
		t.Fatalf("sealed a file with a wrong bit: %v", err)
	}
	names := must(osDisk{}.List(dir))(t)
	if !slices.Equal(names, []string{journalName, infoName}) {
		t.Errorf("folder holds %v", names)
	}
	sameBatches(t, must(must(Open(dir))(t).Batches())(t), []*rig.Batch{b})
	if _, err := Seal(dir); err != nil { // on a disk that works again
		t.Error(err)
	}
}

// staleDisk shows the runs folder as it was before another recorder came.
type staleDisk struct{ osDisk }

func (staleDisk) List(string) ([]string, error) { return nil, nil }

func TestCreateGivesWayToWhoCameFirst(t *testing.T) {
	bench := t.TempDir()
	for _, want := range []string{"0001", "0002", "0003"} {
		r := must(create(staleDisk{}, bench, infoOf("knee")))(t)
		if err := r.Close(End{How: Stopped}, nil); err != nil || r.ID() != want {
			t.Errorf("run %s (%v), want %s", r.ID(), err, want)
		}
	}
}
