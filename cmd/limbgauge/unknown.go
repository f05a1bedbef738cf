package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"limbgauge/analyze/book"
	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// unknown says of a word of the command line that nothing has that name.
func unknown(what, name string, known []string) error {
	return usageError{&rig.NameError{What: what, Name: name, Known: known}}
}

// isUnknown says of an error that a name is not known. It says itself which names there are.
func isUnknown(err error) bool { return errors.As(err, new(*rig.NameError)) }

// oneOfWords refuses the value of a flag that is none of some words.
func oneOfWords(flag, value string, words ...string) error {
	if value == "" || slices.Contains(words, value) {
		return nil
	}
	return unknown("--"+flag, value, words)
}

func knownMeasure(name string) error {
	if _, ok := health.DefinitionOf(name); ok {
		return nil
	}
	return unknown("measure", name, measureNames())
}

func measureNames() (names []string) {
	for _, d := range health.Definitions() {
		names = append(names, d.Name)
	}
	return names
}

func pathNames() []string {
	return []string{string(health.Servo), string(health.Transmission), string(health.Total)}
}

// knownCauseOrMeasure refuses what is neither.
func knownCauseOrMeasure(name string) error {
	var names []string
	for _, c := range health.Causes()[1:] {
		names = append(names, string(c))
	}
	if names = append(names, measureNames()...); slices.Contains(names, name) {
		return nil
	}
	return unknown("cause or measure", name, names)
}

// revisionOf returns the revision of that name.
func revisionOf(f book.Family, name string) (book.Revision, error) {
	r, err := f.Find(name)
	if err != nil {
		return r, usageError{err}
	}
	return r, nil
}

// flagError says what is wrong with a flag in the words of the one who typed it.
func flagError(cmd *cobra.Command, err error) error {
	var missing *pflag.NotExistError
	var empty *pflag.ValueRequiredError
	var wrong *pflag.InvalidValueError
	switch {
	case errors.As(err, &missing) && missing.GetSpecifiedShortnames() == "":
		var known []string
		cmd.Flags().VisitAll(func(f *pflag.Flag) {
			if !f.Hidden {
				known = append(known, f.Name)
			}
		})
		if near := rig.Nearest(missing.GetSpecifiedName(), known); near != "" {
			err = fmt.Errorf("there is no flag --%s; did you mean --%s?", missing.GetSpecifiedName(), near)
		} else {
			err = fmt.Errorf("there is no flag --%s", missing.GetSpecifiedName())
		}
	case errors.As(err, &missing):
		err = fmt.Errorf("there is no flag -%s", missing.GetSpecifiedName())
	case errors.As(err, &empty):
		err = fmt.Errorf("--%s needs a value: %s", empty.GetFlag().Name, wanted(empty.GetFlag()))
	case errors.As(err, &wrong) && errors.Is(err, errTooLow):
		err = fmt.Errorf("--%s %s: %w", wrong.GetFlag().Name, wrong.GetValue(), errTooLow)
	case errors.As(err, &wrong):
		err = fmt.Errorf("--%s %q: give %s", wrong.GetFlag().Name, wrong.GetValue(), wanted(wrong.GetFlag()))
	}
	return usageError{err}
}

// wanted says what stands behind a flag.
func wanted(f *pflag.Flag) string {
	switch f.Value.Type() {
	case "float", "float64":
		return "a number, as in 2.5"
	case "int":
		return "a whole number"
	case "uint", "uint64":
		return "a whole number, 0 or more"
	case "duration":
		return "a time with its unit, as in 90s or 3m"
	case "bool":
		return "nothing, or true or false"
	}
	return "a text"
}

// finite refuses flags whose value is no number that could be meant: a NaN would pass every comparison.
func finite(cmd *cobra.Command) (err error) {
	cmd.Flags().Visit(func(f *pflag.Flag) {
		if t := f.Value.Type(); t != "float64" && t != "float" {
			return
		}
		if v, parseErr := strconv.ParseFloat(f.Value.String(), 64); parseErr == nil && (math.IsNaN(v) || math.IsInf(v, 0)) && err == nil {
			err = usageError{fmt.Errorf("--%s %s: give %s", f.Name, f.Value, wanted(f))}
		}
	})
	return err
}

// reading is the value of a flag that a person read off a meter. That it was given is kept, since 0 is a
// reading too.
type reading struct {
	into  *float64
	given *bool
	least float64
}

// errTooLow says that no reading is so low.
var errTooLow = errors.New("nothing reads so low; correct the sign, or the unit")

func (m *reading) Set(text string) error {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return err
	}
	if v < m.least {
		return errTooLow
	}
	*m.into, *m.given = v, true
	return nil
}

func (m *reading) String() string {
	if m.given == nil || !*m.given {
		return ""
	}
	return strconv.FormatFloat(*m.into, 'g', -1, 64)
}

func (m *reading) Type() string { return "float" }
