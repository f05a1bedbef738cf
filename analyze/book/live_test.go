package book

import (
	"testing"

	"limbgauge/rig"
	"limbgauge/rig/record"
)

// A run that is being recorded while the book is made comes in when it has ended, as it ended.
func TestRunThatWasLive(t *testing.T) {
	dir := t.TempDir()
	info := runInfo("", day(1), "A")
	info.Joints[0].Setup.Name, info.End = "knee", record.End{}
	rec, err := record.Create(dir, info)
	must(t, err)
	b, _ := open(t, dir)
	must(t, b.Close())
	must(t, rec.Close(record.End{How: record.Complete}, make([]rig.Losses, 1)))
	b, _ = open(t, dir)
	rs, err := b.Runs(t.Context())
	must(t, err)
	if len(rs) != 1 || !rs[0].Whole || rs[0].Ended != "complete" {
		t.Errorf("%+v", rs)
	}
}

// A run comes in by its folder before it is judged, as when its baseline is asked for: with its answer
// it tells the same as one that comes judged, and as a book made anew.
func TestRunThatCameUnjudged(t *testing.T) {
	dir := t.TempDir()
	b, _ := open(t, dir)
	keepRun(t, b, 1, day(1), "", playJoint(0.1, false))
	i := runInfo("0002", day(2), "")
	writeRun(t, dir, i, nil)
	must(t, b.Close())
	b, o := open(t, dir)
	if len(o.Took) != 1 {
		t.Fatalf("%+v", o)
	}
	h := answer("0002", "", playJoint(0.9, true))
	writeRun(t, dir, i, &h)
	must(t, b.AddRun(t.Context(), i, h))
	if p := state(t, b, knee); p.State != Open || len(p.Shows) != 1 {
		t.Errorf("%+v", p)
	}
	live := dump(t, b)
	if _, err := b.Rebuild(t.Context()); err != nil {
		t.Fatal(err)
	}
	if again := dump(t, b); again != live {
		t.Errorf("made anew:\n%s\nwas\n%s", again, live)
	}
}
