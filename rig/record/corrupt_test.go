package record

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"limbgauge/rig"
)

// frameOffsets returns where the frames of a whole journal begin, and its length at the end.
func frameOffsets(t *testing.T, data []byte) []int {
	t.Helper()
	var at []int
	off := 0
	for off < len(data) {
		n, err := frameLen(data[off:])
		if err != nil {
			t.Fatal(err)
		}
		at = append(at, off)
		off += n
	}
	return append(at, off)
}

// A table of corruptions: what is done to a journal of a header and 12 frames with 100 samples
// each, and what must survive. Frames are numbered from 0, the header; frame 5 holds samples 400
// to 499.
func TestJournalCorruptions(t *testing.T) {
	const perFrame, frames = 100, 12
	frame := func(n int) (from, to int) { return (n - 1) * perFrame, n * perFrame }
	type fault func(data []byte, at []int) []byte
	cutAt := func(where func(at []int) int) fault {
		return func(data []byte, at []int) []byte { return data[:where(at)] }
	}
	flip := func(where func(at []int) int) fault {
		return func(data []byte, at []int) []byte { data[where(at)] ^= 0x10; return data }
	}
	for _, test := range []struct {
		name   string
		damage fault
		lost   [][2]int // samples that may be gone; all others must be there
		frame  int      // of the first damage; -1: none is reported
		kind   error
		only   error // a kind it must not be called
	}{
		{"untouched", func(d []byte, _ []int) []byte { return d }, nil, -1, nil, nil},
		{"cut after the header", cutAt(func(at []int) int { return at[1] }), [][2]int{{0, 1200}}, -1, nil, nil},
		{"cut between frames", cutAt(func(at []int) int { return at[8] }), [][2]int{{700, 1200}}, -1, nil, nil},
		{"cut within the header", cutAt(func(at []int) int { return at[1] - 1 }), [][2]int{{0, 1200}}, 0, ErrTorn, nil},
		{"torn last frame", cutAt(func(at []int) int { return at[frames+1] - 9 }), [][2]int{{1100, 1200}}, 12, ErrTorn, nil},
		{"torn in its check sum", cutAt(func(at []int) int { return at[frames+1] - 1 }), [][2]int{{1100, 1200}}, 12, ErrTorn, nil},
		{"torn in its magic", cutAt(func(at []int) int { return at[frames] + 2 }), [][2]int{{1100, 1200}}, 12, ErrTorn, nil},
		{"torn in its frame header", cutAt(func(at []int) int { return at[frames] + 5 }), [][2]int{{1100, 1200}}, 12, ErrTorn, nil},
		{"bit flip in the header's text", flip(func(at []int) int { return at[0] + 30 }), nil, 0, ErrDamaged, ErrTorn},
		{"bit flip in a middle frame", flip(func(at []int) int { return at[5] + 200 }), [][2]int{{400, 500}}, 5, ErrDamaged, ErrTorn},
		{"bit flip in a middle frame's magic", flip(func(at []int) int { return at[5] + 1 }), [][2]int{{400, 500}}, 5, ErrDamaged, ErrTorn},
		{"bit flip in a middle frame's check sum", flip(func(at []int) int { return at[6] - 2 }), [][2]int{{400, 500}}, 5, ErrDamaged, ErrTorn},
		{"block length of a middle frame runs away", func(d []byte, at []int) []byte { d[at[5]+10] = 0xFF; return d }, [][2]int{{400, 500}}, 5, ErrDamaged, ErrTorn},
		{"two frames in a row damaged", func(d []byte, at []int) []byte { d[at[5]+99] ^= 1; d[at[6]+99] ^= 1; return d }, [][2]int{{400, 600}}, 5, ErrDamaged, ErrTorn},
		{"hole of zeros over a frame border", func(d []byte, at []int) []byte { clear(d[at[5]+50 : at[6]+50]); return d }, [][2]int{{400, 600}}, 5, ErrDamaged, ErrTorn},
		{"something like a frame within the damage", func(d []byte, at []int) []byte {
			copy(d[at[5]+60:], frameMagic())
			copy(d[at[5]+90:], d[at[9]:at[9]+40])
			return d
		}, [][2]int{{400, 500}}, 5, ErrDamaged, ErrTorn},
		{"bit flip in the last frame", flip(func(at []int) int { return at[frames] + 200 }), [][2]int{{1100, 1200}}, 12, ErrDamaged, ErrTorn},
		{"frame gone from the middle", func(d []byte, at []int) []byte { return append(d[:at[5]:at[5]], d[at[6]:]...) }, [][2]int{{400, 500}}, 5, ErrMissing, nil},
		{"zeros at the end", func(d []byte, _ []int) []byte { return append(d, make([]byte, 4096)...) }, nil, 13, ErrTorn, nil},
		{"last frame turned to zeros", func(d []byte, at []int) []byte { clear(d[at[frames]:]); return d }, [][2]int{{1100, 1200}}, 12, ErrTorn, nil},
		{"last frame half turned to zeros", func(d []byte, at []int) []byte { clear(d[at[frames]+100:]); return d }, [][2]int{{1100, 1200}}, 12, nil, nil},
		{"rubbish at the end", func(d []byte, _ []int) []byte { return append(d, "\x00rubbish(\xb5/\xfd and more"...) }, nil, 13, ErrDamaged, nil},
		{"empty file", func([]byte, []int) []byte { return nil }, [][2]int{{0, 1200}}, 0, ErrEmpty, nil},
		{"nothing but zeros", func(d []byte, _ []int) []byte { clear(d); return d }, [][2]int{{0, 1200}}, 0, ErrTorn, nil},
	} {
		t.Run(test.name, func(t *testing.T) {
			all := motion(0, perFrame*frames, 7)
			r := must(Create(t.TempDir(), infoOf("knee")))(t)
			for n := 1; n <= frames; n++ {
				from, to := frame(n)
				part := &rig.Batch{}
				appendRows(part, all, from, to)
				if err := errors.Join(r.Append(part), r.Flush()); err != nil {
					t.Fatal(err)
				}
			}
			if err := r.file.Close(); err != nil { // as a crash would, without Close
				t.Fatal(err)
			}
			path := filepath.Join(r.Dir(), journalName)
			data := must(os.ReadFile(path))(t)
			at := frameOffsets(t, data)
			if len(at) != frames+2 {
				t.Fatalf("%d frames, want %d", len(at)-1, frames+1)
			}
			if err := os.WriteFile(path, test.damage(data, at), 0o644); err != nil {
				t.Fatal(err)
			}

			want := &rig.Batch{}
			for i := range all.TimeUS {
				gone := false
				for _, l := range test.lost {
					gone = gone || i >= l[0] && i < l[1]
				}
				if !gone {
					want.Append(all.Row(i))
				}
			}
			run := must(Open(r.Dir()))(t)
			sameBatches(t, must(run.Batches())(t), []*rig.Batch{want})
			if run.Info.End.How != Cut {
				t.Errorf("the run ended %+v, want cut", run.Info.End)
			}
			checkDamage(t, run.Damage, path, at, test.frame, test.kind, test.only, want)

			// Sealing keeps the same samples and says in the run what was lost.
			info := must(Seal(r.Dir()))(t)
			if len(info.Notes) != len(run.Damage) {
				t.Errorf("%d notes for %d places of damage: %q", len(info.Notes), len(run.Damage), info.Notes)
			}
			sealed := must(Open(r.Dir()))(t)
			sameBatches(t, must(sealed.Batches())(t), []*rig.Batch{want})
			if sealed.Info.End.How != Cut {
				t.Errorf("the sealed run ended %+v, want cut", sealed.Info.End)
			}
			_, err := os.Stat(filepath.Join(r.Dir(), damagedName))
			if kept := err == nil; kept != (test.kind != nil && test.kind != ErrTorn && test.kind != ErrEmpty || test.name == "last frame half turned to zeros") {
				t.Errorf("damaged journal kept: %v", kept)
			}
		})
	}
}

func checkDamage(t *testing.T, got []*CorruptError, path string, at []int, frame int, kind, not error, want *rig.Batch) {
	t.Helper()
	if frame < 0 {
		if len(got) > 0 {
			t.Errorf("damage reported where there is none: %v", got[0])
		}
		return
	}
	if len(got) != 1 {
		t.Fatalf("%d places of damage reported, want one: %v", len(got), got)
	}
	c := got[0]
	if c.Frame != frame || c.Offset != int64(at[frame]) || c.Path != path {
		t.Errorf("damage at frame %d, byte %d of %s; want frame %d, byte %d", c.Frame, c.Offset, c.Path, frame, at[frame])
	}
	if kind != nil && !errors.Is(c, kind) || not != nil && errors.Is(c, not) {
		t.Errorf("damage is %v, want %v", c, kind)
	}
	if !strings.Contains(c.Error(), "byte") {
		t.Errorf("%q does not name the byte", c.Error())
	}
	if n := (frame - 1) * 100; frame > 1 && n <= want.Len() && (!c.WholeTo || c.WholeToUS != want.TimeUS[n-1]) {
		t.Errorf("whole up to %d us, want %d", c.WholeToUS, want.TimeUS[n-1])
	}
}

func TestRunWithoutSamplesFile(t *testing.T) {
	dir := recordRun(t, t.TempDir(), infoOf("knee"), motion(0, 10, 1))
	if err := os.Remove(filepath.Join(dir, journalName)); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(dir); !errors.Is(err, ErrNoSamples) {
		t.Errorf("opened: %v, want ErrNoSamples", err)
	}
	if _, err := Seal(dir); !errors.Is(err, ErrNoSamples) {
		t.Errorf("sealed: %v, want ErrNoSamples", err)
	}
}

func TestDamagedSealedFileIsAnErrorNotAPanic(t *testing.T) {
	dir := recordRun(t, t.TempDir(), infoOf("knee"), motion(0, 2000, 1))
	if _, err := Seal(dir); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, sealedName)
	whole := must(os.ReadFile(path))(t)
	want := must(must(Open(dir))(t).Batches())(t)
	silent := 0
	for at := 0; at < len(whole); at += 1 + len(whole)/400 {
		data := append([]byte(nil), whole...)
		data[at] ^= 0x41
		got, err := decodeSealed(data, "knee")
		if err == nil && !equalBatch(got[0], want[0]) {
			silent++
		}
		if err != nil && !errors.Is(err, ErrDamaged) {
			t.Fatalf("byte %d: %v is no ErrDamaged", at, err)
		}
	}
	// Every page carries a CRC (PageHeader.crc of the Parquet format), so damage to samples shows.
	if silent > 0 {
		t.Errorf("%d of about 400 flipped bytes changed samples unnoticed", silent)
	}
	for _, n := range []int{0, 3, 4, 8, len(whole) / 2, len(whole) - 1} {
		if _, err := decodeSealed(whole[:n]); !errors.Is(err, ErrDamaged) {
			t.Errorf("cut to %d bytes: %v, want ErrDamaged", n, err)
		}
	}
}

// Whatever the bytes, reading a journal ends without a panic and never makes up damage beyond them.
func FuzzReadJournal(f *testing.F) {
	dir := f.TempDir()
	r, err := Create(dir, infoOf("knee"))
	if err != nil {
		f.Fatal(err)
	}
	if err := errors.Join(r.Append(motion(0, 20, 1)), r.Close(End{How: Complete}, nil)); err != nil {
		f.Fatal(err)
	}
	seed, err := os.ReadFile(filepath.Join(r.Dir(), journalName))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(seed)
	f.Add(seed[:len(seed)/2])
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, data []byte) {
		d := newMemDisk()
		d.put("journal", data)
		j, err := readJournal(d, "journal", []string{"knee"})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range j.Damage {
			if c.Offset+c.Length > int64(len(data)) {
				t.Fatalf("damage %+v lies beyond %d bytes", c, len(data))
			}
		}
		for _, b := range j.Batches {
			for _, c := range columns() {
				if len(*c.Batch(b)) != b.Len() {
					t.Fatalf("column %s has %d of %d rows", c.name, len(*c.Batch(b)), b.Len())
				}
			}
		}
	})
}
