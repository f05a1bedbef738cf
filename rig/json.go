package rig

import (
	"encoding/json"
	"fmt"
	"time"
)

// The JSON form of a joint has the keys of bench.toml, so that a run folder can be read beside
// the bench file it was made with.

// MarshalText returns the move's name.
func (k MoveKind) MarshalText() ([]byte, error) { return []byte(k.String()), nil }

// UnmarshalText reads a move's name.
func (k *MoveKind) UnmarshalText(text []byte) (err error) {
	*k, err = ParseMoveKind(string(text))
	return err
}

type moveJSON struct {
	Kind        MoveKind `json:"move"`
	TargetDeg   float64  `json:"target_deg"`
	RateDegPerS float64  `json:"rate_deg_per_s"`
	DwellMS     int64    `json:"dwell_ms"`
}

// MarshalJSON writes the dwell in whole ms, which is what a stand can be told.
func (m Move) MarshalJSON() ([]byte, error) {
	return json.Marshal(moveJSON{m.Kind, m.TargetDeg, m.RateDegPerS, m.Dwell.Milliseconds()})
}

// UnmarshalJSON is the inverse of MarshalJSON.
func (m *Move) UnmarshalJSON(data []byte) error {
	var j moveJSON
	if err := json.Unmarshal(data, &j); err != nil {
		return err
	}
	*m = Move{j.Kind, j.TargetDeg, j.RateDegPerS, time.Duration(j.DwellMS) * time.Millisecond}
	return nil
}

// MarshalJSON writes each limit under its key of bench.toml, which carries the unit.
func (l Limits) MarshalJSON() ([]byte, error) {
	out := map[string]float64{}
	for _, k := range LimitKeys() {
		if v, ok := l[k.Measure]; ok {
			out[k.Key] = v
		}
	}
	return json.Marshal(out)
}

// UnmarshalJSON is the inverse of MarshalJSON; a key that is none is an error.
func (l *Limits) UnmarshalJSON(data []byte) error {
	var in map[string]float64
	if err := json.Unmarshal(data, &in); err != nil {
		return err
	}
	*l = Limits{}
	for _, k := range LimitKeys() {
		if v, ok := in[k.Key]; ok {
			(*l)[k.Measure] = v
			delete(in, k.Key)
		}
	}
	for key := range in {
		return fmt.Errorf("unknown limit %q", key)
	}
	return nil
}
