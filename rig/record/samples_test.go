package record

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"pgregory.net/rapid"

	"limbgauge/rig"
)

// shared returns a path below the data that lies beside the repository. It is not part of it, so
// a test without it is skipped, or fails where everything is required.
func shared(t testing.TB, path string) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			break
		}
		if dir == filepath.Dir(dir) {
			t.Fatal("no go.mod above the test")
		}
		dir = filepath.Dir(dir)
	}
	p := filepath.Join(dir, "..", "shared", path)
	if _, err := os.Stat(p); err != nil {
		if os.Getenv("LIMBGAUGE_REQUIRE_ALL") == "1" {
			t.Fatalf("required data is missing: %v", err)
		}
		t.Skipf("data beside the repository is missing: %v", err)
	}
	return p
}

func infoOf(names ...string) Info {
	i := Info{Leg: "fore-left", Revision: "A", Stand: Stand{Port: "virtual", SampleHz: 250}}
	for k, n := range names {
		j := rig.DefaultJoint(k)
		j.Name, j.RangeDeg = n, [2]float64{-75, 75}
		i.Joints = append(i.Joints, JointInfo{Setup: j})
	}
	return i
}

// motion makes n samples of a joint at 250 Hz that look like a real run: a slow sweep with
// encoder steps, noise, and now and then a value that was not measured.
func motion(joint, n int, seed uint64) *rig.Batch {
	rnd := rand.New(rand.NewPCG(seed, uint64(joint)))
	b := &rig.Batch{Joint: joint}
	for i := range n {
		deg := int32(i % 12000)
		r := rig.Row{TimeUS: 1_000_000 + int64(i)*4000 + rnd.Int64N(40), Move: rig.MoveKind(1 + i/1000%7), Segment: uint16(1 + i/250),
			Command: deg * 10, Angle: deg*10/88*88 + rnd.Int32N(2)*88, Motor: deg*10 + rnd.Int32N(88),
			Current: 120 + rnd.Int32N(20), Supply: 6184 - rnd.Int32N(3)*8, Torque: rig.Missing, Temp: 2150 + int32(i/5000)}
		if rnd.IntN(500) == 0 {
			r.Angle = rig.Missing
		}
		b.Append(r)
	}
	return b
}

// anyBatch draws samples with every oddity the types allow.
func anyBatch(t *rapid.T, joint int) *rig.Batch {
	b := &rig.Batch{Joint: joint}
	at := rapid.Int64Range(-1e12, 1e12).Draw(t, "start")
	value := rapid.OneOf(rapid.Int32Range(-200000, 200000), rapid.Int32Range(-(1<<31-1), 1<<31-1), rapid.Just(int32(rig.Missing)))
	for range rapid.IntRange(0, 40).Draw(t, "n") {
		at += rapid.Int64Range(0, 3_000_000).Draw(t, "gap")
		b.Append(rig.Row{TimeUS: at, Move: rig.MoveKind(rapid.IntRange(0, 7).Draw(t, "move")), Segment: rapid.Uint16().Draw(t, "segment"),
			Command: value.Draw(t, "command"), Angle: value.Draw(t, "angle"), Motor: value.Draw(t, "motor"), Current: value.Draw(t, "current"),
			Supply: value.Draw(t, "supply"), Torque: value.Draw(t, "torque"), Temp: value.Draw(t, "temp")})
	}
	return b
}

// anyNames draws names of joints that a bench file allows, with all that line protocol and CSV escape.
func anyNames(t *rapid.T) []string {
	name := rapid.StringMatching(`[a-zé°,="' \\#]{0,6}[a-z,="#]`)
	return rapid.SliceOfNDistinct(name, 1, 3, func(s string) string { return s }).Draw(t, "names")
}

func sameBatches(t testing.TB, got, want []*rig.Batch) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%d joints, want %d", len(got), len(want))
	}
	for k := range want {
		if !equalBatch(got[k], want[k]) {
			t.Fatalf("joint %d: %d samples differ from the %d written", k, got[k].Len(), want[k].Len())
		}
	}
}

func must[T any](v T, err error) func(t testing.TB) T {
	return func(t testing.TB) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}
