package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"unicode"
	"unicode/utf8"
)

// What a page may say of a run, in letters: a tag is written on the leg, a note is read in a list.
const (
	tagMost  = 40
	noteMost = 400
)

// readSweep reads what a page asks for; what it does not know is an error, so that nothing is run
// without what was meant.
func readSweep(text string) (s Sweep, err error) {
	d := json.NewDecoder(bytes.NewReader([]byte(text)))
	d.DisallowUnknownFields()
	if err = d.Decode(&s); err == nil {
		if _, more := d.Token(); !errors.Is(more, io.EOF) {
			err = errors.New("more follows behind it")
		}
	}
	if err != nil {
		return s, fmt.Errorf("read what is to be run: %w", err)
	}
	return s, nil
}

// check refuses what no page of ours asks for. Whether names are those of the bench is for the desk to say.
func (s Sweep) check() error {
	if len(s.Joints) == 0 {
		return errors.New("no joint was chosen")
	}
	for _, f := range []struct {
		what, text string
		most       int
	}{{"the assembly", s.Assembly, tagMost}, {"the note", s.Note, noteMost}} {
		if n := utf8.RuneCountInString(f.text); n > f.most {
			return fmt.Errorf("%s has %d letters; %d is the most", f.what, n, f.most)
		}
		for _, r := range f.text {
			if !unicode.IsPrint(r) {
				return fmt.Errorf("%s holds the character %U, which nobody can read", f.what, r)
			}
		}
	}
	switch {
	case s.SupplyV < 0 || s.SupplyV > 100:
		return fmt.Errorf("a supply of %g V: give 0 to 100, or nothing", s.SupplyV)
	case math.Abs(s.AmbientC) > 100:
		return fmt.Errorf("an ambient temperature of %g °C: give -100 to 100, or nothing", s.AmbientC)
	case s.Endure != nil && len(s.Joints) != 1:
		return errors.New("an endurance test is of one joint")
	case s.Endure != nil && (s.Endure.Cycles < 1 || s.Endure.CheckEvery < 1):
		return errors.New("an endurance test needs cycles, and after how many of them it checks: whole numbers above 0")
	}
	return nil
}
