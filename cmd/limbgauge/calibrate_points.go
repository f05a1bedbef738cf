package main

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"limbgauge/analyze/calibrate"
	"limbgauge/rig"
	"limbgauge/rig/record"
)

// table is a CSV file of points: numbers by column, empty cells as NaN.
type table struct {
	path  string
	lines []int // of each row
	cols  map[string][]float64
	sd    string // column of the readings' scatter
}

// readTable reads a file of points that has one of several sets of columns, of which the last is the
// reading. Its scatter and its number of samples may stand beside it. A column that is none of
// them is an error: a forgotten unit must not go unseen.
func readTable(path string, sets ...[]string) (*table, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		e := &record.InputError{Path: path, Problem: "can not be read: " + err.Error(), Hint: "check the path"}
		if errors.Is(err, fs.ErrNotExist) {
			e.Problem = "there is no such file"
		}
		return nil, e
	}
	reading := sets[0][len(sets[0])-1]
	t := &table{path: path, cols: map[string][]float64{}, sd: "sd" + reading[strings.LastIndexByte(reading, '_'):]}
	known := []string{t.sd, "samples"}
	for _, s := range sets {
		known = append(known, s...)
	}
	r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))))
	r.TrimLeadingSpace, r.Comment, r.FieldsPerRecord = true, '#', -1
	var header []string
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			var pe *csv.ParseError
			line := 0
			if errors.As(err, &pe) {
				line = pe.Line
			}
			return nil, &record.InputError{Path: path, Line: line, Problem: err.Error(), Hint: "separate cells with commas"}
		}
		line, _ := r.FieldPos(0)
		if header == nil {
			if header, err = t.header(row, line, known, sets); err != nil {
				return nil, err
			}
			continue
		}
		if len(row) != len(header) {
			return nil, &record.InputError{Path: path, Line: line, Problem: fmt.Sprintf("has %d cells, the header has %d", len(row), len(header)), Hint: "leave cells empty, but keep their commas; write numbers with a point"}
		}
		t.lines = append(t.lines, line)
		for i, cell := range row {
			v, wrong := cellValue(header[i], strings.TrimSpace(cell))
			if wrong != "" {
				return nil, &record.InputError{Path: path, Line: line, Column: header[i], Problem: wrong, Hint: "write a decimal number with a point and without a unit"}
			}
			t.cols[header[i]] = append(t.cols[header[i]], v)
		}
	}
	if len(t.lines) == 0 {
		return nil, &record.InputError{Path: path, Problem: "holds no points", Hint: "the first line names the columns, as in " + strings.Join(sets[0], ",") + "; the others hold a point each"}
	}
	return t, nil
}

// cellValue reads one cell; directions are 1 and -1.
func cellValue(column, cell string) (v float64, wrong string) {
	if column == "direction" {
		switch strings.ToLower(cell) {
		case "up", "1", "+1":
			return 1, ""
		case "down", "-1":
			return -1, ""
		}
		return 0, fmt.Sprintf("%q is neither up nor down", cell)
	}
	if cell == "" {
		return 0, "is empty"
	}
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Sprintf("%q is no number", cell)
	}
	return v, ""
}

// longestName is how long a cell of the first line may be, in bytes, and still be taken for a name.
const longestName = 60

// header checks the column names.
func (t *table) header(row []string, line int, known []string, sets [][]string) ([]string, error) {
	var out []string
	fault := func(column, problem, hint string) error {
		return &record.InputError{Path: t.path, Line: line, Column: column, Problem: problem, Hint: hint}
	}
	for _, c := range row {
		c = strings.TrimSpace(c)
		if slices.Contains(out, c) {
			return nil, fault(c, "is there twice", "keep one of them")
		}
		if !slices.Contains(known, c) {
			if !utf8.ValidString(c) || len(c) > longestName || strings.ContainsFunc(c, unicode.IsControl) {
				return nil, fault("1", "is no name of a column: this is no CSV file, or one in another encoding", "write UTF-8 text and name the columns "+setWords(sets))
			}
			return nil, fault(c, "is not known here", columnHint(c, known, sets))
		}
		out = append(out, c)
	}
	var missing []string
	for _, s := range sets {
		missing = missing[:0]
		for _, c := range s {
			if !slices.Contains(out, c) {
				missing = append(missing, c)
			}
		}
		if len(missing) == 0 {
			return out, nil
		}
	}
	return nil, fault(missing[0], "is missing", "name the columns "+setWords(sets))
}

func setWords(sets [][]string) string {
	var all []string
	for _, s := range sets {
		all = append(all, strings.Join(s, ","))
	}
	return strings.Join(all, " or ")
}

// columnHint says what an unknown column was most likely meant to be.
func columnHint(column string, known []string, sets [][]string) string {
	low := strings.ToLower(column)
	if strings.HasPrefix(low, "torque") {
		return "give torque_nm in N·m (1 kg·cm is 0.0980665 N·m, 1 oz·in is 0.00706155 N·m), or mass_kg, lever_m and angle_deg"
	}
	stem, _, _ := strings.Cut(low, "_")
	for _, k := range known {
		if s, unit, ok := strings.Cut(k, "_"); ok && s == stem {
			return fmt.Sprintf("give %s, in %s", k, unit)
		}
	}
	return "name the columns " + setWords(sets)
}

// at returns a cell, or a stand-in where the column is not there.
func (t *table) at(column string, row int, otherwise float64) float64 {
	if c, ok := t.cols[column]; ok {
		return c[row]
	}
	return otherwise
}

// readReferences reads the points of a step that compares readings with a reference.
func readReferences(path string, s stillStep) ([]rig.CalibrationPoint, error) {
	sets := [][]string{{s.reference, s.reading}}
	if s.key == "current" {
		sets = append(sets, []string{"resistor_ohm", "supply_v", s.reading})
	}
	t, err := readTable(path, sets...)
	if err != nil {
		return nil, err
	}
	var out []rig.CalibrationPoint
	for i, line := range t.lines {
		ref := t.at(s.reference, i, math.NaN())
		if math.IsNaN(ref) {
			ohm := t.at("resistor_ohm", i, 0)
			if ohm <= 0 {
				return nil, &record.InputError{Path: path, Line: line, Column: "resistor_ohm", Problem: fmt.Sprintf("%g ohm is no resistor", ohm), Hint: "for the zero give meter_a 0"}
			}
			ref = calibrate.OhmA(t.at("supply_v", i, 0), ohm)
		}
		out = append(out, rig.CalibrationPoint{Reference: ref, Reading: t.at(s.reading, i, 0), SD: math.Abs(t.at(t.sd, i, 0)), N: int(t.at("samples", i, 0))})
	}
	return out, nil
}

// readPulses reads the points of the step pulse; base corrects the readings.
func readPulses(path string, base *rig.Correction) ([]rig.PulsePoint, error) {
	t, err := readTable(path, []string{"pulse_us", "direction", "reading_deg"})
	if err != nil {
		return nil, err
	}
	var out []rig.PulsePoint
	for i, line := range t.lines {
		p := rig.PulsePoint{PulseUS: t.at("pulse_us", i, 0), Direction: int(t.at("direction", i, 0)), ReadingDeg: t.at("reading_deg", i, 0), SD: math.Abs(t.at(t.sd, i, 0)), N: int(t.at("samples", i, 0))}
		if !(p.PulseUS > 100 && p.PulseUS < 10000) {
			return nil, &record.InputError{Path: path, Line: line, Column: "pulse_us", Problem: fmt.Sprintf("%g us is no pulse of a servo", p.PulseUS), Hint: "give microseconds, as in 1500"}
		}
		p.AngleDeg = base.Apply(p.ReadingDeg)
		out = append(out, p)
	}
	return out, nil
}

// readWeights reads the points of the step torque; base corrects the currents.
func readWeights(path string, ratio float64, base *rig.Correction) ([]rig.TorquePoint, error) {
	t, err := readTable(path, []string{"mass_kg", "lever_m", "angle_deg", "reading_a"}, []string{"torque_nm", "reading_a"})
	if err != nil {
		return nil, err
	}
	var out []rig.TorquePoint
	for i, line := range t.lines {
		p := rig.TorquePoint{MassKg: t.at("mass_kg", i, 0), LeverM: t.at("lever_m", i, 0), AngleDeg: t.at("angle_deg", i, 0), ReadingA: t.at("reading_a", i, 0),
			SD: math.Abs(t.at(t.sd, i, 0)), N: int(t.at("samples", i, 0))}
		if p.MassKg < 0 || p.LeverM < 0 || p.LeverM > 2 || p.MassKg > 100 {
			return nil, &record.InputError{Path: path, Line: line, Column: "mass_kg", Problem: fmt.Sprintf("%g kg at %g m is no weight of a leg's bench", p.MassKg, p.LeverM), Hint: "give kg and m, not g and mm"}
		}
		p.TorqueNm = t.at("torque_nm", i, calibrate.WeightTorque(p.MassKg, p.LeverM, p.AngleDeg, ratio))
		p.CurrentA = base.Apply(p.ReadingA)
		out = append(out, p)
	}
	return out, nil
}
