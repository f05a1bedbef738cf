package record

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"time"

	"limbgauge/rig"
)

// Schema is the version of run.json, of the journal and of the sealed columns.
const Schema = 1

const (
	infoName    = "run.json"
	journalName = "journal.lp.zst"
	sealedName  = "samples.parquet"
	// damagedName keeps a journal from which frames in the middle could not be read.
	damagedName = "journal.damaged.lp.zst"
	tempSuffix  = ".tmp"
)

// Info is run.json: all there is to know of a run but its samples.
type Info struct {
	Schema int    `json:"schema"`
	Run    string `json:"run"`
	State  State  `json:"state"`
	// Started is the host's time when the recording began. It only places the run in the calendar:
	// times of samples are the stand's.
	Started     time.Time   `json:"started"`
	Leg         string      `json:"leg"`
	Revision    string      `json:"revision"`
	Routine     string      `json:"routine"` // name; the moves stand with each joint
	Bench       BenchFile   `json:"bench"`
	Calibration string      `json:"calibration"` // names of the calibrations used, "none" without one
	Stand       Stand       `json:"stand"`
	Conditions  Conditions  `json:"conditions"`
	Joints      []JointInfo `json:"joints"`
	End         End         `json:"end"`
	// Notes say what a reader of the samples should know, in whole sentences: damage, rounding.
	Notes []string `json:"notes,omitempty"`
	// Gait is what a run of an endurance test plays; nil for other runs.
	Gait *Gait `json:"gait,omitempty"`
	// Calibrations are those the joints' set-ups name; Create keeps a copy of each in the run's folder.
	Calibrations []*rig.Calibration `json:"-"`
}

// State says which file holds the samples.
type State string

// The states of a run.
const (
	Recording State = "recording" // in the journal
	Sealed    State = "sealed"    // in the sealed file
)

// BenchFile ties a run to the bench file it was made with.
type BenchFile struct {
	Path   string `json:"path,omitempty"`
	SHA256 string `json:"sha256,omitempty"`
}

// Stand says what the samples came from.
type Stand struct {
	Port     string  `json:"port"` // kind: "virtual", "serial", "text", "file"
	Device   string  `json:"device,omitempty"`
	Name     string  `json:"name,omitempty"`
	Firmware string  `json:"firmware,omitempty"`
	Protocol string  `json:"protocol,omitempty"`
	SampleHz float64 `json:"sample_hz"` // asked for, per joint; 0 when not known
}

// Conditions are what the builder says of the circumstances. A nil figure was not stated.
type Conditions struct {
	SupplySetV *float64 `json:"supply_set_v,omitempty"`
	AmbientC   *float64 `json:"ambient_c,omitempty"`
	// Assembly tells apart times the leg was put together: runs with the same tag speak of the
	// same assembly.
	Assembly string `json:"assembly,omitempty"`
	// BareServo says that the belt was off and the weight hung on the servo's own horn: the run
	// speaks of the servo alone, and each Setup is that of Joint.BareServo.
	BareServo bool   `json:"bare_servo,omitempty"`
	Note      string `json:"note,omitempty"`
}

// Gait says how the moves of an endurance test's run make cycles.
type Gait struct {
	Cycles        int     `json:"cycles"` // that were to be done
	MovesPerCycle int     `json:"moves_per_cycle"`
	CycleS        float64 `json:"cycle_s"`
}

// JointInfo is one joint of a run.
type JointInfo struct {
	Setup  rig.Joint  `json:"setup"`
	Moves  []rig.Move `json:"moves,omitempty"` // what the stand was asked to do; none for a log
	Losses rig.Losses `json:"losses"`
	// Samples, FirstUS and LastUS describe what was recorded; 0 while the run is being recorded.
	Samples int   `json:"samples"`
	FirstUS int64 `json:"first_us"`
	LastUS  int64 `json:"last_us"`
	// TravelDeg and Reversals say how far the joint went and how often it turned, SupplyRestV is the
	// voltage seen while the servo drew the least. Sealing finds them in the samples, see travel.go;
	// nil where it could not, and in runs sealed before it did.
	TravelDeg   *float64 `json:"travel_deg,omitempty"`
	Reversals   *int     `json:"reversals,omitempty"`
	SupplyRestV *float64 `json:"supply_rest_v,omitempty"`
}

// End says how a recording ended.
type End struct {
	How    How    `json:"how,omitempty"` // empty while the run is being recorded
	Reason string `json:"reason,omitempty"`
}

// How is a kind of ending.
type How string

// The endings.
const (
	Complete How = "complete" // the routine ran to its end
	Stopped  How = "stopped"  // by the user
	Tripped  How = "tripped"  // by the stand; Reason names why
	Cut      How = "cut"      // the host, the link or the power went away
	Imported How = "imported" // from a log
)

// DurationS returns the time from the first to the last sample of any joint, in s.
func (i *Info) DurationS() float64 {
	var first, last int64
	seen := false
	for _, j := range i.Joints {
		if j.Samples == 0 {
			continue
		}
		if !seen || j.FirstUS < first {
			first = j.FirstUS
		}
		if !seen || j.LastUS > last {
			last = j.LastUS
		}
		seen = true
	}
	return float64(last-first) / 1e6
}

// Samples returns the number of samples of all joints.
func (i *Info) Samples() int {
	n := 0
	for _, j := range i.Joints {
		n += j.Samples
	}
	return n
}

// count fills in what the samples say of themselves. It panics when the joints do not match.
func (i *Info) count(batches []*rig.Batch) {
	for k, b := range batches {
		j := &i.Joints[k]
		j.Samples, j.FirstUS, j.LastUS = b.Len(), 0, 0
		if n := b.Len(); n > 0 {
			j.FirstUS, j.LastUS = b.TimeUS[0], b.TimeUS[n-1]
		}
	}
}

func readInfo(d disk, dir string) (Info, error) {
	path := filepath.Join(dir, infoName)
	data, err := d.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return Info{}, &InputError{Path: path, Problem: "there is no such file",
			Hint: "every run has one; a folder whose recording ended before it began can be deleted"}
	}
	if err != nil {
		return Info{}, fmt.Errorf("read run: %w", err)
	}
	var i Info
	if err := json.Unmarshal(data, &i); err != nil {
		return Info{}, &InputError{Path: path, Line: lineOf(data, err), Problem: err.Error(),
			Hint: "mend the file by hand; the samples beside it are untouched"}
	}
	if i.Schema < 1 || i.Schema > Schema {
		return Info{}, &InputError{Path: path, Problem: fmt.Sprintf("schema %d is not known", i.Schema),
			Hint: fmt.Sprintf("this limbgauge reads schemas up to %d; use a newer one", Schema)}
	}
	return i, nil
}

// lineOf returns the line a JSON error points at, 0 when it does not point.
func lineOf(data []byte, err error) int {
	var at int64
	var se *json.SyntaxError
	var te *json.UnmarshalTypeError
	switch {
	case errors.As(err, &se):
		at = se.Offset
	case errors.As(err, &te):
		at = te.Offset
	default:
		return 0
	}
	line := 1
	for _, c := range data[:min(at, int64(len(data)))] {
		if c == '\n' {
			line++
		}
	}
	return line
}

func writeInfo(d disk, dir string, i Info) error {
	i.Schema = Schema
	data, err := json.MarshalIndent(i, "", "  ")
	if err != nil {
		return fmt.Errorf("write %s: %w", infoName, err)
	}
	return replaceFile(d, filepath.Join(dir, infoName), append(data, '\n'))
}
