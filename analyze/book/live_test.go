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
