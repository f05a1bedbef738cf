package rig

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"
)

// field is one key of a table: where its value goes and what it may be.
type field struct {
	key string
	// into points at the target and says what the value must be: *float64, *int, *string, *bool,
	// *time.Time, *[2]float64 or *[2]int, *Point or *[]Point. What it holds already is the default.
	into any
	must bool  // there is no default
	zero bool  // 0 says something else than a missing key, so it is written
	ok   check // of every number in it; nil allows all
	want string
}

// check returns what is wrong with a number, "" when nothing is.
type check func(v float64) string

func positive(v float64) string {
	if v > 0 {
		return ""
	}
	return "must be greater than 0"
}

func notNegative(v float64) string {
	if v >= 0 {
		return ""
	}
	return "must not be negative"
}

func between(lo, hi float64) check {
	return func(v float64) string {
		if v >= lo && v <= hi {
			return ""
		}
		return fmt.Sprintf("must be from %v to %v", number(lo), number(hi))
	}
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// read fills the targets from the table at a path and blames every key that is none of the fields
// and no table of its own.
func (d *document) read(at string, m map[string]any, fields []field, tables ...string) {
	known := slices.Clone(tables)
	for _, f := range fields {
		known = append(known, f.key)
	}
	mistyped := map[string]bool{} // what unknown keys were most likely meant to be
	for key := range m {
		if !slices.Contains(known, key) {
			near := nearestKey(key, known)
			mistyped[near] = true
			d.blameKey(under(at, key), "is no key of this table", meant(key, near, withoutIndexes(at), known))
		}
	}
	for _, f := range fields {
		v, ok := m[f.key]
		switch {
		case ok:
			d.set(under(at, f.key), v, f)
		case f.must && !mistyped[f.key]:
			d.blame(under(at, f.key), "is missing", "give "+f.want)
		}
	}
}

// set converts one value, or blames it and leaves the default.
func (d *document) set(at string, v any, f field) {
	hint := "give " + f.want
	switch into := f.into.(type) {
	case *string:
		s, ok := v.(string)
		if !ok {
			d.blame(at, "must be text in quotes, not "+kindOf(v), hint)
			return
		}
		*into = s
	case *bool:
		b, ok := v.(bool)
		if !ok {
			d.blame(at, "must be true or false, not "+kindOf(v), hint)
			return
		}
		*into = b
	case *float64:
		if x, ok := d.number(at, v, false, f.ok, hint); ok {
			*into = x
		}
	case *int:
		if x, ok := d.number(at, v, true, f.ok, hint); ok {
			*into = int(x)
		}
	case *time.Time:
		t, ok := v.(time.Time)
		if !ok {
			d.blame(at, "must be a date and time with its zone, not "+kindOf(v), hint)
			return
		}
		*into = t
	case *[2]float64:
		if x, ok := d.pair(at, v, false, f.ok, hint); ok {
			*into = x
		}
	case *[2]int:
		if x, ok := d.pair(at, v, true, f.ok, hint); ok {
			*into = [2]int{int(x[0]), int(x[1])}
		}
	case *Point:
		if x, ok := d.point(at, v, f.ok, hint); ok {
			*into = x
		}
	case *[]Point:
		list, ok := v.([]any)
		if !ok {
			d.blame(at, "must be a list of points, not "+kindOf(v), hint)
			return
		}
		*into = nil
		for i := range list {
			x, _ := d.point(element(at, i), list[i], f.ok, hint)
			*into = append(*into, x)
		}
	default:
		panic(fmt.Sprintf("rig: no reader for %T", f.into))
	}
}

func (d *document) number(at string, v any, whole bool, ok check, hint string) (float64, bool) {
	var x float64
	switch n := v.(type) {
	case int64:
		x = float64(n)
	case float64:
		x = n
		if whole && n != math.Trunc(n) {
			d.blame(at, "must be a whole number", hint)
			return 0, false
		}
	default:
		d.blame(at, "must be a number, not "+kindOf(v), hint)
		return 0, false
	}
	if math.IsNaN(x) || math.IsInf(x, 0) {
		d.blame(at, "must be a finite number", hint)
		return 0, false
	}
	if whole && math.Abs(x) > math.MaxInt32 {
		d.blame(at, "is too great for a count", hint)
		return 0, false
	}
	if ok != nil {
		if wrong := ok(x); wrong != "" {
			d.blame(at, fmt.Sprintf("is %s but %s", number(x), wrong), hint)
			return 0, false
		}
	}
	return x, true
}

// pair reads a [least, greatest] list; the two must differ and stand in rising order.
func (d *document) pair(at string, v any, whole bool, ok check, hint string) (p [2]float64, good bool) {
	list, isList := v.([]any)
	if !isList || len(list) != 2 {
		d.blame(at, "must be a list of two numbers", hint)
		return p, false
	}
	good = true
	for i := range list {
		x, ok := d.number(element(at, i), list[i], whole, ok, hint)
		p[i] = x
		good = good && ok
	}
	if good && p[0] >= p[1] {
		d.blame(at, fmt.Sprintf("runs from %s to %s: the lesser comes first", number(p[0]), number(p[1])), hint)
		return p, false
	}
	return p, good
}

// point reads an [x, y] list.
func (d *document) point(at string, v any, ok check, hint string) (p Point, good bool) {
	list, isList := v.([]any)
	if !isList || len(list) != 2 {
		d.blame(at, "must be a list of two numbers, x and y", hint)
		return p, false
	}
	good = true
	for i := range list {
		x, ok := d.number(element(at, i), list[i], false, ok, hint)
		p[i] = x
		good = good && ok
	}
	return p, good
}

// table returns the table at a key; ok is false when there is none or it is none.
func (d *document) table(at string, m map[string]any, key string) (sub map[string]any, ok bool) {
	v, there := m[key]
	if !there {
		return nil, false
	}
	sub, ok = v.(map[string]any)
	if !ok {
		d.blame(under(at, key), "must be a table, not "+kindOf(v), fmt.Sprintf("write [%s] on a line of its own and its keys below", withoutIndexes(under(at, key))))
	}
	return sub, ok
}

// tables returns the list of tables at a key.
func (d *document) tables(at string, m map[string]any, key, hint string) []map[string]any {
	v, there := m[key]
	if !there {
		return nil
	}
	list, ok := v.([]any)
	if !ok {
		d.blame(under(at, key), "must be a list of tables, not "+kindOf(v), hint)
		return nil
	}
	out := make([]map[string]any, len(list)) // nil where it is no table, so that indexes still count
	for i, e := range list {
		t, ok := e.(map[string]any)
		if !ok {
			d.blame(element(under(at, key), i), "must be a table, not "+kindOf(e), hint)
		}
		out[i] = t
	}
	return out
}

func kindOf(v any) string {
	switch v := v.(type) {
	case string:
		return fmt.Sprintf("the text %q", v)
	case int64, float64:
		return fmt.Sprintf("the number %v", v)
	case bool:
		return strconv.FormatBool(v)
	case []any:
		return "a list"
	case map[string]any:
		return "a table"
	}
	return "a date or time"
}
