package record

import (
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/influxdata/line-protocol/v2/lineprotocol"
	"pgregory.net/rapid"

	"limbgauge/rig"
)

const goodCSV = `time_s,joint,move,command_deg,joint_deg,motor_deg,current_a,supply_v,torque_nm,temp_c
0.004,knee,settle,0.0000,0.1758,-0.0000,0.121,6.184,,21.5
0.004,hip,,1,,2,0.1,6.2,,
0.008,knee,stair,10.5,10.25,,0.2,6.1,,21.6
`

func TestParseCSV(t *testing.T) {
	nan := math.NaN()
	got, err := ParseCSV("log.csv", []byte("\xef\xbb\xbf"+strings.ReplaceAll(goodCSV, "\n", "\r\n")), CSVOptions{SampleHz: 250})
	if err == nil || !strings.Contains(err.Error(), `empty in every row of joint "hip"`) {
		t.Fatalf("got %v, %v: hip has no joint angle at all", got, err)
	}
	got, err = ParseCSV("log.csv", []byte("\xef\xbb\xbf"+strings.ReplaceAll(strings.Replace(goodCSV, "hip,,1,,", "hip,,1,1.5,", 1), "\n", "\r\n")), CSVOptions{SampleHz: 250})
	if err != nil {
		t.Fatal(err)
	}
	want := []*rig.Series{
		{Joint: "knee", Time: []float64{0.004, 0.008}, Move: []rig.MoveKind{rig.MoveSettle, rig.MoveStair}, Command: []float64{0, 10.5}, Angle: []float64{0.1758, 10.25},
			Motor: []float64{0, nan}, Current: []float64{0.121, 0.2}, Supply: []float64{6.184, 6.1}, Temp: []float64{21.5, 21.6}, SampleHz: 250},
		{Joint: "hip", Time: []float64{0.004}, Command: []float64{1}, Angle: []float64{1.5}, Motor: []float64{2}, Current: []float64{0.1}, Supply: []float64{6.2}, SampleHz: 250},
	}
	if len(got) != 2 || !sameSeries(got[0], want[0]) || !sameSeries(got[1], want[1]) {
		t.Errorf("got  %+v %+v\nwant %+v %+v", got[0], got[1], want[0], want[1])
	}
}

func sameSeries(a, b *rig.Series) bool {
	same := a.Joint == b.Joint && a.SampleHz == b.SampleHz && reflect.DeepEqual(a.Move, b.Move)
	for _, c := range [][2][]float64{{a.Time, b.Time}, {a.Command, b.Command}, {a.Angle, b.Angle}, {a.Motor, b.Motor}, {a.Current, b.Current}, {a.Supply, b.Supply}, {a.Torque, b.Torque}, {a.Temp, b.Temp}} {
		same = same && len(c[0]) == len(c[1]) && (c[0] == nil) == (c[1] == nil)
		for i := 0; same && i < len(c[0]); i++ {
			same = c[0][i] == c[1][i] || math.IsNaN(c[0][i]) && math.IsNaN(c[1][i])
		}
	}
	return same
}

func TestParseCSVInAnyOrderWithFewColumns(t *testing.T) {
	var ignored []string
	got, err := ParseCSV("log.csv", []byte("joint_deg, humidity_pct ,command_deg,joint,time_s\n 1.5 ,40,+2e0,\"left, knee \"\"2\"\"\",.25\n\n-1.5,,-2.,\"left, knee \"\"2\"\"\",1e-0"),
		CSVOptions{Ignored: func(c string) { ignored = append(ignored, c) }})
	if err != nil {
		t.Fatal(err)
	}
	want := &rig.Series{Joint: `left, knee "2"`, Time: []float64{0.25, 1}, Command: []float64{2, -2}, Angle: []float64{1.5, -1.5}}
	if len(got) != 1 || !sameSeries(got[0], want) {
		t.Errorf("got %+v, want %+v", got[0], want)
	}
	if !reflect.DeepEqual(ignored, []string{"humidity_pct"}) {
		t.Errorf("ignored %q", ignored)
	}
}

func TestParseCSVNamesWhatIsWrong(t *testing.T) {
	const head = "time_s,joint,command_deg,joint_deg\n"
	for _, test := range []struct {
		name, text string
		line       int
		column     string
		says       string
	}{
		{"empty file", "", 0, "", "is empty"},
		{"blank file", " \n\n", 0, "", "is empty"},
		{"header alone", head, 0, "", "no samples"},
		{"no header", "0.1,knee,1,2\n", 1, "time_s", "the first line must name the columns"},
		{"missing column", "time_s,joint,command_deg\n0,knee,1\n", 1, "joint_deg", "add joint_deg"},
		{"wrong unit", "time_s,joint,command_deg,joint_rad\n", 1, "joint_rad", "joint_deg is known"},
		{"wrong unit of an optional column", "time_s,joint,command_deg,joint_deg,current_ma\n", 1, "current_ma", "current_a is known"},
		{"unit left out", "time,joint,command_deg,joint_deg\n", 1, "time", "time_s is known"},
		{"capitals", "Time_s,joint,command_deg,joint_deg\n", 1, "Time_s", "time_s is known"},
		{"column twice", "time_s,joint,command_deg,joint_deg,joint_deg\n", 1, "joint_deg", "column 4 and 5"},
		{"semicolons", "time_s;joint;command_deg;joint_deg\n0;k;1;2\n", 1, "", "commas"},
		{"ragged row", head + "0,knee,1,2\n1,knee,1\n", 3, "", "3 cells, the header has 4"},
		{"decimal comma", head + "0,knee,1,5,2\n", 2, "", "numbers with a point"},
		{"text in a number", head + "0,knee,1,two\n", 2, "joint_deg", `"two" is no number`},
		{"unit in a number", head + "0,knee,1,2deg\n", 2, "joint_deg", `"2deg" is no number`},
		{"hexadecimal", head + "0,knee,1,0x1p-2\n", 2, "joint_deg", "is no number"},
		{"nan", head + "0,knee,1,NaN\n", 2, "joint_deg", "leave the cell empty"},
		{"inf", head + "0,knee,-Inf,1\n", 2, "command_deg", "leave the cell empty"},
		{"too great", head + "0,knee,1e999,1\n", 2, "command_deg", "is no number"},
		{"time missing", head + ",knee,1,2\n", 2, "time_s", "is empty"},
		{"joint missing", head + "0,,1,2\n", 2, "joint", "is empty"},
		{"time backwards", head + "0,knee,1,2\n0.1,hip,1,2\n0.2,knee,1,2\n0.15,knee,1,2\n", 5, "time_s", "0.15 s is before the 0.2 s"},
		{"unknown move", "time_s,joint,move,command_deg,joint_deg\n0,knee,walk,1,2\n", 2, "move", "settle stair ramp"},
		{"open quote", head + "0,\"knee,1,2\n", 2, "", "quote"},
		{"text behind a quote", head + "0,\"knee\"s,1,2\n", 2, "", "closing quote"},
		{"other joint", head + "0,ankle,1,2\n", 2, "joint", `"ankle" is no joint of the bench`},
		{"no angle at all", head + "0,knee,1,\n1,knee,1,\n", 0, "joint_deg", "empty in every row"},
	} {
		t.Run(test.name, func(t *testing.T) {
			got, err := ParseCSV("log.csv", []byte(test.text), CSVOptions{Joints: []string{"knee", "hip"}})
			var e *InputError
			if got != nil || !errors.As(err, &e) {
				t.Fatalf("got %v, %v; want an *InputError", got, err)
			}
			if e.Path != "log.csv" || e.Line != test.line || e.Column != test.column || !strings.Contains(e.Problem+" "+e.Hint, test.says) || e.Hint == "" {
				t.Errorf("%v (line %d, column %q, hint %q); want line %d, column %q, saying %q", e, e.Line, e.Column, e.Hint, test.line, test.column, test.says)
			}
		})
	}
}

func TestReadCSVFiles(t *testing.T) {
	dir := t.TempDir()
	write := func(name string, data []byte) string {
		p := filepath.Join(dir, name)
		if err := os.WriteFile(p, data, 0o644); err != nil {
			t.Fatal(err)
		}
		return p
	}
	text := strings.Replace(goodCSV, "hip,,1,,", "hip,,1,1.5,", 1)
	var zipped bytes.Buffer
	z := gzip.NewWriter(&zipped)
	io.WriteString(z, text)
	z.Close()
	for _, p := range []string{write("a.csv", []byte(text)), write("b.csv.gz", zipped.Bytes())} {
		got, err := ReadCSV(p, CSVOptions{})
		if err != nil || len(got) != 2 || got[0].Len() != 2 {
			t.Errorf("%s: %v, %v", p, got, err)
		}
	}
	for _, p := range []string{filepath.Join(dir, "none.csv"), write("cut.csv.gz", zipped.Bytes()[:zipped.Len()-12])} {
		var e *InputError
		if _, err := ReadCSV(p, CSVOptions{}); !errors.As(err, &e) || e.Path != p {
			t.Errorf("%s: %v", p, err)
		}
	}
}

// The standard library's CSV reader and number parser are the oracle: every cell of every case log
// comes out bit for bit the same.
func TestReadCSVAgreesWithTheStandardLibrary(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(shared(t, "caselogs"), "case*", "log.csv.gz"))
	if err != nil || len(files) != 16 {
		t.Fatalf("%d logs (%v), want 16", len(files), err)
	}
	for _, f := range files {
		got, err := ReadCSV(f, CSVOptions{Joints: []string{"knee"}})
		if err != nil {
			t.Error(err)
			continue
		}
		file := must(os.Open(f))(t)
		rows := must(csv.NewReader(must(gzip.NewReader(file))(t)).ReadAll())(t)
		file.Close()
		s := got[0]
		if len(got) != 1 || s.Len() != len(rows)-1 {
			t.Errorf("%s: %d series of %d rows, want 1 of %d", f, len(got), s.Len(), len(rows)-1)
			continue
		}
		cols := map[string][]float64{"time_s": s.Time, "command_deg": s.Command, "joint_deg": s.Angle, "motor_deg": s.Motor, "current_a": s.Current, "supply_v": s.Supply}
		for c, name := range rows[0] {
			for i, row := range rows[1:] {
				switch col := cols[name]; {
				case name == "joint":
				case name == "move":
					if s.Move[i].String() != row[c] {
						t.Fatalf("%s:%d: move %v, want %s", f, i+2, s.Move[i], row[c])
					}
				case row[c] == "":
					if col != nil && !math.IsNaN(col[i]) {
						t.Fatalf("%s:%d: %s is %v, want nothing", f, i+2, name, col[i])
					}
				default:
					want := must(strconv.ParseFloat(row[c], 64))(t)
					if math.Float64bits(col[i]) != math.Float64bits(want) {
						t.Fatalf("%s:%d: %s is %v, want %v", f, i+2, name, col[i], want)
					}
				}
			}
		}
	}
}

func TestParseDecimalAgreesWithStrconv(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[-+]?[0-9]{0,18}(\.[0-9]{0,18})?([eE][-+]?[0-9]{1,3})?`).Draw(t, "text")
		got, ok := parseDecimal([]byte(text))
		want, err := strconv.ParseFloat(text, 64)
		if ok != (err == nil) || ok && math.Float64bits(got) != math.Float64bits(want) {
			t.Fatalf("%q: %v, %v; strconv says %v, %v", text, got, ok, want, err)
		}
	})
}

// WriteCSV is the inverse of reading for whatever fits the format.
func TestCSVRoundTrip(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		names := anyNames(rt)
		var want []*rig.Batch
		for k := range names {
			b := anyBatch(rt, k)
			b.Append(rig.Row{TimeUS: 4e12, Command: 1, Angle: 1, Motor: rig.Missing, Current: 5, Supply: rig.Missing, Torque: rig.Missing, Temp: rig.Missing})
			clear(b.Segment) // the format has no column for it
			want = append(want, b)
		}
		var text bytes.Buffer
		if err := writeCSV(&text, names, want); err != nil {
			rt.Fatal(err)
		}
		series, err := ParseCSV("log.csv", text.Bytes(), CSVOptions{Joints: names})
		if err != nil {
			rt.Fatalf("%v in\n%s", err, text.String())
		}
		for _, s := range series {
			for k, n := range names {
				if n != s.Joint {
					continue
				}
				b, err := BatchOf(s)
				if err != nil {
					rt.Fatal(err)
				}
				if b.Joint = k; !equalBatch(b, want[k]) {
					rt.Fatalf("joint %q: %+v\nwant %+v\nin\n%s", n, b, want[k], text.String())
				}
			}
		}
	})
}

func TestWriteCSV(t *testing.T) {
	knee := &rig.Batch{}
	row := rig.Row{TimeUS: 3974, Move: rig.MoveSettle, Command: -5, Angle: 176, Motor: rig.Missing, Current: -121, Supply: 6184, Torque: rig.Missing, Temp: -7}
	knee.Append(row)
	row.TimeUS, row.Angle, row.Move = 1_008_017, rig.Missing, rig.MoveNone
	knee.Append(row)
	hip := &rig.Batch{Joint: 1}
	row = rig.Row{TimeUS: 3974, Command: 60000, Angle: 59999, Motor: rig.Missing, Current: 0, Supply: 0, Torque: rig.Missing, Temp: rig.Missing}
	hip.Append(row)
	var out strings.Builder
	if err := writeCSV(&out, []string{"knee", "hip, left"}, []*rig.Batch{knee, hip}); err != nil {
		t.Fatal(err)
	}
	want := `time_s,joint,move,command_deg,joint_deg,current_a,supply_v,temp_c
0.003974,knee,settle,-0.005,0.176,-0.121,6.184,-0.07
0.003974,"hip, left",,60.000,59.999,0.000,0.000,
1.008017,knee,,-0.005,,-0.121,6.184,-0.07
`
	if out.String() != want {
		t.Errorf("got\n%s\nwant\n%s", out.String(), want)
	}
}

// Export as lines and read back with the library's own decoder: names, values and times.
func TestLinesRoundTrip(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		names := anyNames(rt)
		r := &Run{Info: infoOf(names...)}
		r.Info.Started = time.Date(2026, 3, 4, 5, 6, 7, 8000, time.UTC)
		n := 0
		for k := range names {
			r.batches = append(r.batches, anyBatch(rt, k))
			n += r.batches[k].Len()
		}
		var text bytes.Buffer
		if err := r.WriteLines(&text, false); err != nil {
			rt.Fatal(err)
		}
		into := newJoints(names)
		lines, _, err := decodeLines(text.Bytes(), into)
		if err != nil || lines != n {
			rt.Fatalf("%d lines (%v), want %d", lines, err, n)
		}
		sameBatches(t, into.batches, r.batches)

		text.Reset()
		if err := r.WriteLines(&text, true); err != nil {
			rt.Fatal(err)
		}
		d := lineprotocol.NewDecoderWithBytes(text.Bytes())
		first := true
		for d.Next() {
			at, err := d.Time(lineprotocol.Nanosecond, time.Time{})
			if err != nil || first && !at.Equal(r.Info.Started) || at.Before(r.Info.Started) {
				rt.Fatalf("time %v (%v), started %v", at, err, r.Info.Started)
			}
			first = false
		}
	})
}

func TestDecodeLinesNamesWhatIsWrong(t *testing.T) {
	good := "sample,joint=knee segment=1i,command_mdeg=5i 1000\n"
	for _, test := range []struct{ name, line, says string }{
		{"other measurement", "weather,joint=knee segment=1i 1000\n", "weather"},
		{"no joint", "sample segment=1i 1000\n", "without a joint"},
		{"unknown tag", "sample,joint=knee,leg=x segment=1i 1000\n", "leg"},
		{"unknown move", "sample,joint=knee,move=walk segment=1i 1000\n", "walk"},
		{"unknown field", "sample,joint=knee segment=1i,command_deg=5i 1000\n", "command_deg"},
		{"float", "sample,joint=knee segment=1i,command_mdeg=5 1000\n", "no integer"},
		{"too great", "sample,joint=knee segment=1i,command_mdeg=2147483648i 1000\n", "32 bits"},
		{"segment too great", "sample,joint=knee segment=65536i 1000\n", "16 bits"},
		{"no time", "sample,joint=knee segment=1i\n", "timestamp"},
		{"no syntax", "sample,joint=knee segment=1i,, 1000\n", "line"},
	} {
		t.Run(test.name, func(t *testing.T) {
			into := newJoints([]string{"knee"})
			lines, _, err := decodeLines([]byte(good+test.line+good), into)
			if lines != 2 || into.batches[0].Len() != 2 {
				t.Errorf("%d good lines and %d samples, want both around the bad one", lines, into.batches[0].Len())
			}
			if err == nil || !strings.Contains(err.Error(), test.says) {
				t.Errorf("%v, want it to say %q", err, test.says)
			}
		})
	}
}

func TestImport(t *testing.T) {
	bench := t.TempDir()
	series := must(ParseCSV("log.csv", []byte(strings.Replace(goodCSV, "hip,,1,,", "hip,,1,1.5,", 1)), CSVOptions{SampleHz: 250}))(t)
	info := must(Import(bench, infoOf("hip", "knee", "yaw"), series))(t)
	if info.Run != "0001" || info.State != Sealed || info.End.How != Imported || info.Samples() != 3 || len(info.Notes) != 1 {
		t.Errorf("info %+v", info)
	}
	run := must(Open(RunDir(bench, "0001")))(t)
	s := must(run.Series("knee"))(t)
	if s.Len() != 2 || s.Angle[0] != 0.176 || s.Move[1] != rig.MoveStair || s.Torque != nil || s.SampleHz != 250 {
		t.Errorf("knee %+v", s)
	}
	if _, err := run.Series("ankle"); err == nil {
		t.Error("a joint that is none has a series")
	}
	if _, err := Import(bench, infoOf("hip"), series); err == nil || !strings.Contains(err.Error(), "knee") {
		t.Errorf("a log with an undescribed joint: %v", err)
	}
	series[0].Angle[0] = 1e9
	if _, err := Import(bench, infoOf("hip", "knee"), series); err == nil || !strings.Contains(err.Error(), "joint_mdeg") {
		t.Errorf("a value beyond its column: %v", err)
	}
	if entries := must(List(bench))(t); len(entries) != 1 {
		t.Errorf("%d runs, want one: what can not be imported leaves nothing behind", len(entries))
	}
}

// Whatever the bytes, there are samples or an error that names the file, and never a panic; what
// was read comes out of WriteCSV and in again.
func FuzzParseCSV(f *testing.F) {
	f.Add([]byte(goodCSV))
	f.Add([]byte("joint_deg, humidity_pct ,command_deg,joint,time_s\n 1.5 ,40,+2e0,\"left, knee \"\"2\"\"\",.25\n"))
	f.Add([]byte("time_s;joint\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		series, err := ParseCSV("log.csv", data, CSVOptions{})
		if err != nil {
			var e *InputError
			if series != nil || !errors.As(err, &e) || e.Path != "log.csv" {
				t.Fatalf("%v, %v", series, err)
			}
			return
		}
		var names []string
		var batches []*rig.Batch
		for k, s := range series {
			b, err := BatchOf(s)
			if err != nil || strings.ContainsAny(s.Joint, "\n\r") || allMissing(s.Angle) {
				return
			}
			b.Joint = k
			names, batches = append(names, s.Joint), append(batches, b)
		}
		var out bytes.Buffer
		if err := writeCSV(&out, names, batches); err != nil {
			t.Fatal(err)
		}
		again, err := ParseCSV("log.csv", out.Bytes(), CSVOptions{})
		if err != nil || len(again) != len(series) {
			t.Fatalf("%d series (%v), want %d, from\n%s", len(again), err, len(series), out.String())
		}
	})
}
