package record

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"slices"
	"strings"

	"github.com/klauspost/compress/gzip"

	"limbgauge/rig"
)

// CSVOptions are the choices in reading a log.
type CSVOptions struct {
	// Joints, where given, are the only names a log may use.
	Joints []string
	// SampleHz is the rate the logger was asked for; 0 when not known.
	SampleHz float64
	// Ignored, where given, is told of each column that is none of the format's and resembles none.
	Ignored func(column string)
}

// ReadCSV reads a log (.csv, or .csv.gz by its content) and returns one series per joint, in the
// order the joints first appear. The format is the one of WriteCSV: unit in the name, columns in
// any order, empty cells for what was not measured, rows in time order per joint. Lines that begin
// with # before the header are remarks; those of WriteCorrectedCSV set Series.Calibration. The first thing
// wrong with it is returned as *InputError, with no series.
func ReadCSV(path string, opts CSVOptions) ([]*rig.Series, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		e := &InputError{Path: path, Problem: "can not be read: " + err.Error(), Hint: "check the path"}
		if errors.Is(err, fs.ErrNotExist) {
			e.Problem = "there is no such file"
		}
		return nil, e
	}
	if bytes.HasPrefix(data, []byte{0x1f, 0x8b}) {
		if data, err = gunzip(data); err != nil {
			return nil, &InputError{Path: path, Problem: "can not be decompressed: " + err.Error(), Hint: "copy the file again; it is cut short or damaged"}
		}
	}
	return ParseCSV(path, data, opts)
}

func gunzip(data []byte) ([]byte, error) {
	z, err := gzip.NewReader(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	_, err = out.ReadFrom(z)
	return out.Bytes(), err
}

// ParseCSV reads the text of a log; path is for error messages only.
func ParseCSV(path string, data []byte, opts CSVOptions) ([]*rig.Series, error) {
	p := &csvParser{path: path, opts: opts, index: map[string]int{}, corrected: map[string]string{}}
	if err := p.parse(bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))); err != nil {
		return nil, err
	}
	return p.finish()
}

// csvParser reads a log line by line. Cells are slices of the input: a row costs no allocation.
type csvParser struct {
	path   string
	opts   CSVOptions
	line   int
	at     []int // column of each cell
	has    [csvCount]bool
	names  []string
	series []*rig.Series
	index  map[string]int
	last   int // series of the row before
	// corrected says by which calibration a joint's values were corrected already.
	corrected map[string]string
}

func (p *csvParser) fault(line int, column, problem, hint string) error {
	return &InputError{p.path, line, column, problem, hint}
}

func (p *csvParser) parse(data []byte) error {
	if len(bytes.TrimSpace(data)) == 0 {
		return p.fault(0, "", "is empty", "the first line must name the columns, the others hold samples")
	}
	var cells [][]byte
	for len(data) > 0 {
		var line []byte
		if i := bytes.IndexByte(data, '\n'); i >= 0 {
			line, data = data[:i], data[i+1:]
		} else {
			line, data = data, nil
		}
		p.line++
		if line = bytes.TrimRight(line, "\r"); len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		if line[0] == '#' && p.at == nil { // remarks stand before the header
			if err := p.remark(string(line)); err != nil {
				return err
			}
			continue
		}
		var err error
		if cells, err = p.split(line, cells[:0]); err != nil {
			return err
		}
		if p.at == nil {
			if p.at, err = p.parseHeader(cells); err != nil {
				return err
			}
			for _, k := range p.at {
				if k >= 0 {
					p.has[k] = true
				}
			}
			continue
		}
		if err := p.row(cells); err != nil {
			return err
		}
	}
	return nil
}

// split cuts a line at its commas and takes quotes off (RFC 4180, but for line breaks in quotes).
func (p *csvParser) split(line []byte, cells [][]byte) ([][]byte, error) {
	if bytes.IndexByte(line, '"') < 0 {
		for {
			i := bytes.IndexByte(line, ',')
			if i < 0 {
				return append(cells, trim(line)), nil
			}
			cells, line = append(cells, trim(line[:i])), line[i+1:]
		}
	}
	for {
		line = bytes.TrimLeft(line, " ")
		if len(line) == 0 || line[0] != '"' {
			before, after, more := bytes.Cut(line, []byte{','})
			cells = append(cells, trim(before))
			if !more {
				return cells, nil
			}
			line = after
			continue
		}
		var cell []byte
		line = line[1:]
		for {
			i := bytes.IndexByte(line, '"')
			if i < 0 {
				return nil, p.fault(p.line, "", "a quote is not closed on its line", `close it, or write a quote within quotes as ""`)
			}
			cell, line = append(cell, line[:i]...), line[i+1:]
			if len(line) == 0 || line[0] != '"' {
				break
			}
			cell, line = append(cell, '"'), line[1:]
		}
		cells = append(cells, cell)
		line = bytes.TrimLeft(line, " ")
		if len(line) == 0 {
			return cells, nil
		}
		if line[0] != ',' {
			return nil, p.fault(p.line, "", "text follows a closing quote", "put a comma between cells")
		}
		line = line[1:]
	}
}

func trim(b []byte) []byte {
	if n := len(b); n > 0 && b[0] > ' ' && b[n-1] > ' ' {
		return b
	}
	return bytes.TrimSpace(b)
}

// row appends one sample.
func (p *csvParser) row(cells [][]byte) error {
	if len(cells) != len(p.at) {
		return p.fault(p.line, "", fmt.Sprintf("has %d cells, the header has %d", len(cells), len(p.at)), "leave cells empty, but keep their commas; write numbers with a point")
	}
	var values [csvCount]float64
	var joint []byte
	kind := rig.MoveNone
	for i, cell := range cells {
		switch k := p.at[i]; {
		case k < 0:
		case k == csvJoint:
			joint = cell
		case k == csvMove:
			var ok bool
			if kind, ok = moveKind(cell); !ok {
				_, err := rig.ParseMoveKind(string(cell))
				return p.fault(p.line, "move", err.Error(), "leave the cell empty for a sample outside any move")
			}
		case len(cell) == 0:
			values[k] = math.NaN()
		default:
			v, ok := parseDecimal(cell)
			if !ok {
				return p.notNumber(csvColumns()[k].name, cell)
			}
			values[k] = v
		}
	}
	if math.IsNaN(values[csvTime]) {
		return p.fault(p.line, "time_s", "is empty", "every sample needs its time")
	}
	s, err := p.seriesOf(joint)
	if err != nil {
		return err
	}
	if n := len(s.Time); n > 0 && values[csvTime] < s.Time[n-1] {
		return p.fault(p.line, "time_s", fmt.Sprintf("%v s is before the %v s of the sample before it of joint %q", values[csvTime], s.Time[n-1], s.Joint),
			"put the rows of each joint in time order, and start a new file when the logger restarts")
	}
	s.Time = append(s.Time, values[csvTime])
	s.Command = append(s.Command, values[csvCommand])
	s.Angle = append(s.Angle, values[csvAngle])
	if p.has[csvMove] {
		s.Move = append(s.Move, kind)
	}
	for k, col := range [...]struct {
		k    int
		into *[]float64
	}{{csvMotor, &s.Motor}, {csvCurrent, &s.Current}, {csvSupply, &s.Supply}, {csvTorque, &s.Torque}, {csvTemp, &s.Temp}} {
		if k = col.k; p.has[k] {
			*col.into = append(*col.into, values[k])
		}
	}
	return nil
}

func (p *csvParser) notNumber(column string, cell []byte) error {
	switch strings.ToLower(strings.Trim(string(cell), "+-")) {
	case "nan", "inf", "infinity", "null", "none", "na", "n/a":
		return p.fault(p.line, column, fmt.Sprintf("%q is no measured value", cell), "leave the cell empty where nothing was measured")
	}
	return p.fault(p.line, column, fmt.Sprintf("%q is no number", cell), "write a decimal number with a point, or leave the cell empty where nothing was measured")
}

// moveKind is rig.ParseMoveKind without its garbage.
func moveKind(cell []byte) (rig.MoveKind, bool) {
	for k := rig.MoveNone; k <= rig.MoveTurn; k++ {
		if k.String() == string(cell) {
			return k, true
		}
	}
	return 0, false
}

func (p *csvParser) seriesOf(name []byte) (*rig.Series, error) {
	if len(p.names) > 0 && p.names[p.last] == string(name) {
		return p.series[p.last], nil
	}
	if i, ok := p.index[string(name)]; ok {
		p.last = i
		return p.series[i], nil
	}
	if len(name) == 0 {
		return nil, p.fault(p.line, "joint", "is empty", "every sample needs the name of its joint")
	}
	if p.opts.Joints != nil && !slices.Contains(p.opts.Joints, string(name)) {
		return nil, p.fault(p.line, "joint", fmt.Sprintf("%q is no joint of the bench", name),
			fmt.Sprintf("it has %q; rename it in the log or add it to bench.toml", p.opts.Joints))
	}
	p.last = len(p.names)
	p.index[string(name)] = p.last
	p.names = append(p.names, string(name))
	p.series = append(p.series, &rig.Series{Joint: string(name), SampleHz: p.opts.SampleHz})
	return p.series[p.last], nil
}

// finish drops the columns in which nothing was measured.
func (p *csvParser) finish() ([]*rig.Series, error) {
	if p.at == nil || len(p.series) == 0 {
		return nil, p.fault(0, "", "holds no samples", "the lines after the header hold one sample each")
	}
	for _, s := range p.series {
		for _, c := range []struct {
			name string
			col  []float64
		}{{"command_deg", s.Command}, {"joint_deg", s.Angle}} {
			if allMissing(c.col) {
				return nil, p.fault(0, c.name, fmt.Sprintf("is empty in every row of joint %q", s.Joint), "log what was commanded and what was measured at the joint")
			}
		}
		for _, col := range []*[]float64{&s.Motor, &s.Current, &s.Supply, &s.Torque, &s.Temp} {
			if allMissing(*col) {
				*col = nil
			}
		}
		if !slices.ContainsFunc(s.Move, func(k rig.MoveKind) bool { return k != rig.MoveNone }) {
			s.Move = nil
		}
		s.Calibration = p.corrected[s.Joint]
	}
	return p.series, nil
}

func allMissing(col []float64) bool {
	return !slices.ContainsFunc(col, func(v float64) bool { return !math.IsNaN(v) })
}
