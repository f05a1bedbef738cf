package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"
	"github.com/parquet-go/parquet-go"
	"pgregory.net/rapid"

	"limbgauge/rig"
)

// record writes a run to its end and leaves it unsealed.
func recordRun(t testing.TB, bench string, info Info, batches ...*rig.Batch) string {
	t.Helper()
	r, err := Create(bench, info)
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range batches {
		if err := r.Append(b); err != nil {
			t.Fatal(err)
		}
	}
	if err := r.Close(End{How: Complete}, nil); err != nil {
		t.Fatal(err)
	}
	return r.Dir()
}

func TestRunComesBackBeforeAndAfterSealing(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		bench := t.TempDir()
		names := anyNames(rt)
		var want []*rig.Batch
		for k := range names {
			want = append(want, anyBatch(rt, k))
		}
		dir := recordRun(t, bench, infoOf(names...), want...)
		for _, state := range []State{Recording, Sealed} {
			r, err := Open(dir)
			if err != nil {
				rt.Fatal(err)
			}
			if r.Info.State != state || r.Info.End.How != Complete || len(r.Damage) != 0 || r.Live {
				rt.Fatalf("run is %+v, damage %v, live %v", r.Info, r.Damage, r.Live)
			}
			if !reflect.DeepEqual(r.Joints(), names) {
				rt.Fatalf("joints %q, want %q", r.Joints(), names)
			}
			sameBatches(t, must(r.Batches())(t), want)
			if state == Recording {
				if _, err := Seal(dir); err != nil {
					rt.Fatal(err)
				}
			}
		}
		if errs := Check(dir); len(errs) > 0 {
			rt.Fatal(errs)
		}
	})
}

func TestSealLeavesTwoFilesThatOthersRead(t *testing.T) {
	bench := t.TempDir()
	b := motion(0, 3000, 1)
	dir := recordRun(t, bench, infoOf("knee"), b)

	// The journal is a zstd stream of line protocol for any tool: read it as one stream.
	f, err := os.Open(filepath.Join(dir, journalName))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z := must(zstd.NewReader(f))(t)
	defer z.Close()
	text := must(io.ReadAll(z))(t)
	n := 0
	for _, line := range strings.Split(string(text), "\n") {
		if line != "" && !strings.HasPrefix(line, "#") {
			n++
		}
	}
	if n != b.Len() {
		t.Errorf("%d lines in the journal, want %d", n, b.Len())
	}

	info := must(Seal(dir))(t)
	names := must(osDisk{}.List(dir))(t)
	if !reflect.DeepEqual(names, []string{infoName, sealedName}) {
		t.Errorf("folder holds %v", names)
	}
	if j := info.Joints[0]; info.State != Sealed || j.Samples != 3000 || j.FirstUS != b.TimeUS[0] || j.LastUS != b.TimeUS[2999] {
		t.Errorf("info %+v", info)
	}

	// The row reader of the library knows nothing of ours: names, types and nulls as design says.
	type row struct {
		TimeUS     int64  `parquet:"time_us"`
		Joint      string `parquet:"joint"`
		Move       string `parquet:"move"`
		Segment    int32  `parquet:"segment"`
		JointMdeg  *int32 `parquet:"joint_mdeg,optional"`
		TorqueMNm  *int32 `parquet:"torque_mnm,optional"`
		TempCdeg   *int32 `parquet:"temp_cdeg,optional"`
		SupplyMV   *int32 `parquet:"supply_mv,optional"`
		MotorMdeg  *int32 `parquet:"motor_mdeg,optional"`
		CurrentMA  *int32 `parquet:"current_ma,optional"`
		CommandMdg *int32 `parquet:"command_mdeg,optional"`
	}
	rows, err := parquet.ReadFile[row](filepath.Join(dir, sealedName))
	if err != nil || len(rows) != 3000 {
		t.Fatalf("%d rows (%v), want 3000", len(rows), err)
	}
	for i, r := range rows {
		if r.TimeUS != b.TimeUS[i] || r.Joint != "knee" || r.Move != b.Move[i].String() || r.Segment != int32(b.Segment[i]) || r.TorqueMNm != nil ||
			(r.JointMdeg == nil) != (b.Angle[i] == rig.Missing) || r.JointMdeg != nil && *r.JointMdeg != b.Angle[i] ||
			*r.SupplyMV != b.Supply[i] || *r.MotorMdeg != b.Motor[i] || *r.CurrentMA != b.Current[i] || *r.CommandMdg != b.Command[i] || *r.TempCdeg != b.Temp[i] {
			t.Fatalf("row %d: %+v, want %+v", i, r, b.Row(i))
		}
	}
}

func TestJournalLine(t *testing.T) {
	e := newLineEncoder()
	var b rig.Batch
	b.Append(rig.Row{TimeUS: 12704016, Move: rig.MoveStair, Segment: 12, Command: -60030, Angle: -59810, Motor: rig.Missing,
		Current: 121, Supply: 6184, Torque: rig.Missing, Temp: rig.Missing})
	b.Append(rig.Row{TimeUS: 4295000000, Command: rig.Missing, Angle: rig.Missing, Motor: rig.Missing,
		Current: rig.Missing, Supply: rig.Missing, Torque: rig.Missing, Temp: rig.Missing})
	e.add("fore left,knee=1", &b, 0, 0)
	e.add("knee", &b, 1, time.Second)
	// By hand from the syntax of line protocol: commas, spaces and = of a tag take a backslash.
	want := `sample,joint=fore\ left\,knee\=1,move=stair segment=12i,command_mdeg=-60030i,joint_mdeg=-59810i,current_ma=121i,supply_mv=6184i 12704016000` + "\n" +
		`sample,joint=knee segment=0i 4296000000000` + "\n"
	if got := string(e.enc.Bytes()); got != want || e.enc.Err() != nil {
		t.Errorf("got  %s\nwant %s\n(%v)", got, want, e.enc.Err())
	}
}

func TestCreateNeverSharesAFolder(t *testing.T) {
	bench := t.TempDir()
	var wg sync.WaitGroup
	ids := make([]string, 12)
	for i := range ids {
		wg.Go(func() {
			r, err := Create(bench, infoOf("knee"))
			if err != nil {
				t.Error(err)
				return
			}
			ids[i] = r.ID()
			if err := r.Close(End{How: Stopped}, nil); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	seen := map[string]bool{}
	for _, id := range ids {
		seen[id] = true
	}
	entries := must(List(bench))(t)
	if len(seen) != len(ids) || len(entries) != len(ids) {
		t.Errorf("%d ids and %d folders for %d recorders: %v", len(seen), len(entries), len(ids), ids)
	}
	if entries[0].ID != "0001" || entries[11].ID != "0012" {
		t.Errorf("runs from %s to %s, want 0001 to 0012", entries[0].ID, entries[11].ID)
	}
}

func TestListKeepsGoing(t *testing.T) {
	bench := t.TempDir()
	if entries, err := List(bench); err != nil || len(entries) != 0 {
		t.Fatalf("a bench without runs gave %v, %v", entries, err)
	}
	recordRun(t, bench, infoOf("knee"), motion(0, 10, 1))
	runs := filepath.Join(bench, runsName)
	for _, dir := range []string{"0002", "0003", "10000", "notes", "9999"} {
		if err := os.Mkdir(filepath.Join(runs, dir), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	write := func(path, text string) {
		if err := os.WriteFile(filepath.Join(runs, path), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("0003/run.json", "{\n \"schema\": 1,\n \"run\": 5\n}")
	write("9999/run.json", `{"schema": 99}`)
	entries := must(List(bench))(t)
	var got []string
	for _, e := range entries {
		got = append(got, e.ID)
	}
	if want := []string{"0001", "0002", "0003", "9999", "10000"}; !reflect.DeepEqual(got, want) {
		t.Fatalf("runs %v, want %v", got, want)
	}
	if entries[0].Err != nil || entries[0].Info.Leg != "fore-left" {
		t.Errorf("good run: %+v", entries[0])
	}
	for i, says := range map[int]string{1: "no such file", 2: "run.json:3", 3: "schema 99"} {
		if err := entries[i].Err; err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("run %s: %v, want it to say %q", entries[i].ID, err, says)
		}
	}
	r, err := Create(bench, infoOf("knee"))
	if err != nil || r.ID() != "10001" {
		t.Fatalf("next run is %v (%v), want 10001", r, err)
	}
	if err := r.Close(End{How: Stopped}, nil); err != nil {
		t.Fatal(err)
	}
}

func TestLiveRunIsReadButNotSealed(t *testing.T) {
	bench := t.TempDir()
	r := must(Create(bench, infoOf("knee")))(t)
	if err := errors.Join(r.Append(motion(0, 600, 1)), r.Flush()); err != nil {
		t.Fatal(err)
	}
	run := must(Open(r.Dir()))(t)
	if !run.Live || run.Info.End.How != "" || must(run.Batches())(t)[0].Len() != 600 || len(run.Damage) > 0 {
		t.Errorf("live %v, end %+v, %d samples", run.Live, run.Info.End, must(run.Batches())(t)[0].Len())
	}
	if _, err := Seal(r.Dir()); !errors.Is(err, ErrInUse) {
		t.Errorf("sealing a run that is being recorded: %v, want ErrInUse", err)
	}
	if entries := must(List(bench))(t); !entries[0].Live {
		t.Error("the list does not say that the run is live")
	}
	if err := r.Close(End{How: Stopped, Reason: "by the user"}, []rig.Losses{{Lost: 3}}); err != nil {
		t.Fatal(err)
	}
	info := must(Seal(r.Dir()))(t)
	if info.End.How != Stopped || info.Joints[0].Losses.Lost != 3 || info.Samples() != 600 {
		t.Errorf("info %+v", info)
	}
	s := must(must(Open(r.Dir()))(t).Series("knee"))(t)
	if s.Losses.Lost != 3 || s.SampleHz != 250 || s.Len() != 600 {
		t.Errorf("series of %d samples with %+v at %v Hz", s.Len(), s.Losses, s.SampleHz)
	}
}

func TestFrameHoldsAtMostASecond(t *testing.T) {
	bench := t.TempDir()
	dir := recordRun(t, bench, infoOf("hip", "knee"), motion(0, 2501, 1), motion(1, 2501, 2))
	s := must(newScanner(must(os.ReadFile(filepath.Join(dir, journalName)))(t)))(t)
	frames := 0
	for {
		st, ok := s.next()
		if !ok {
			break
		}
		into := newJoints(nil)
		_, last, err := decodeLines(st.content, into)
		if err != nil || st.err != nil {
			t.Fatal(err, st.err)
		}
		for _, b := range into.batches {
			if last-b.TimeUS[0] >= frameSpanUS {
				t.Errorf("a frame holds %d us", last-b.TimeUS[0])
			}
		}
		frames++
	}
	if frames < 21 {
		t.Errorf("%d frames for twice ten seconds", frames)
	}
}

func TestInfoJSONCarriesUnits(t *testing.T) {
	supply := 6.0
	info := infoOf("knee")
	info.Routine, info.Conditions = "quick", Conditions{SupplySetV: &supply, Assembly: "a1", Note: "cold"}
	info.Joints[0].Moves = []rig.Move{{Kind: rig.MoveStair, TargetDeg: 10, RateDegPerS: 60, Dwell: 600 * time.Millisecond}}
	dir := recordRun(t, t.TempDir(), info, motion(0, 10, 1))
	text := must(os.ReadFile(filepath.Join(dir, infoName)))(t)
	for _, key := range []string{`"supply_set_v": 6`, `"range_deg"`, `"target_deg": 10`, `"rate_deg_per_s": 60`, `"dwell_ms": 600`,
		`"sample_hz": 250`, `"lost_samples": 0`, `"first_us"`, `"calibration": "none"`, `"how": "complete"`, `"state": "recording"`} {
		if !bytes.Contains(text, []byte(key)) {
			t.Errorf("run.json has no %s:\n%s", key, text)
		}
	}
	var back Info
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(back.Joints[0].Setup, info.Joints[0].Setup) || !reflect.DeepEqual(back.Joints[0].Moves, info.Joints[0].Moves) {
		t.Errorf("back %+v", back.Joints[0])
	}
}

func TestCreateRefusesNames(t *testing.T) {
	for _, names := range [][]string{{}, {""}, {"a\nb"}, {`a\`}, {"a", "a"}, {"\xff"}} {
		if _, err := Create(t.TempDir(), infoOf(names...)); err == nil {
			t.Errorf("names %q were taken", names)
		}
	}
}

// What can not be written leaves no folder behind that every later command would name as damaged.
func TestCreateLeavesNoEmptyFolder(t *testing.T) {
	bench := t.TempDir()
	info := Info{Leg: "fore-left", Joints: []JointInfo{{Setup: rig.DefaultJoint(0)}}}
	nan := math.NaN() // JSON has no such number
	info.Conditions.AmbientC = &nan
	if _, err := Create(bench, info); err == nil {
		t.Fatal("a temperature that is no number was written")
	}
	if ids, err := IDs(bench); err != nil || len(ids) > 0 {
		t.Errorf("runs %v are left, %v", ids, err)
	}
}
