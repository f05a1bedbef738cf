package rig

import (
	"bytes"
	"errors"
	"slices"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// document is a parsed TOML file that still knows where everything stands. Places are named by
// their path, as in joint[0].servo.rated[1].volts.
type document struct {
	path     string
	data     []byte
	root     map[string]any
	keys     map[string]int // offset of a key, or of the name in a table's header
	values   map[string]int // offset of a value, where it has one of its own
	problems []*ConfigError
}

// parseDocument reads the TOML itself. What it cannot read is a single problem: nothing after it
// can be trusted.
func parseDocument(path string, data []byte) (*document, *ConfigError) {
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")) // editors on some systems put a mark in front
	d := &document{path: path, data: data, keys: map[string]int{}, values: map[string]int{}}
	if err := toml.Unmarshal(data, &d.root); err != nil {
		return nil, syntaxError(path, err)
	}
	if err := d.locate(); err != nil {
		return nil, syntaxError(path, err)
	}
	return d, nil
}

func syntaxError(path string, err error) *ConfigError {
	e := &ConfigError{Path: path, Problem: strings.TrimPrefix(err.Error(), "toml: ")}
	var de *toml.DecodeError
	if errors.As(err, &de) {
		e.Line, e.Column = de.Position()
		e.Key = strings.Join(de.Key(), ".")
	}
	switch {
	case strings.Contains(e.Problem, "should be an array table"):
		e.Hint = "write [[joint]] with two brackets, and before the [joint.…] tables that belong to it"
	case strings.Contains(e.Problem, "already"):
		e.Hint = "give each key and each table once per joint; a further joint begins with [[joint]]"
	default:
		e.Hint = `write text in "quotes", numbers with a point and without a unit, lists in [brackets], true and false in small letters`
	}
	return e
}

// locate notes the offset of every value and table header.
func (d *document) locate() error {
	p := unstable.Parser{}
	p.Reset(d.data)
	table := ""
	count := map[string]int{} // of each array of tables
	for p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			table = ""
			for it := e.Key(); it.Next(); {
				k := it.Node()
				table = under(table, string(k.Data))
				if it.IsLast() && e.Kind == unstable.ArrayTable {
					count[table]++
				}
				if n := count[table]; n > 0 {
					d.note(table, k.Raw)
					table = element(table, n-1)
				}
				d.note(table, k.Raw)
			}
		case unstable.KeyValue:
			d.locateValue(table, e)
		}
	}
	return p.Error()
}

func (d *document) locateValue(at string, kv *unstable.Node) {
	for it := kv.Key(); it.Next(); {
		at = under(at, string(it.Node().Data))
		d.note(at, it.Node().Raw)
	}
	d.locateInside(at, kv.Value())
}

func (d *document) locateInside(at string, v *unstable.Node) {
	if v.Raw.Length > 0 { // the parser gives a list no place of its own
		d.values[at] = int(v.Raw.Offset)
	}
	switch v.Kind {
	case unstable.Array:
		i := 0
		for it := v.Children(); it.Next(); i++ {
			d.locateInside(element(at, i), it.Node())
		}
	case unstable.InlineTable:
		for it := v.Children(); it.Next(); {
			d.locateValue(at, it.Node())
		}
	}
}

// note keeps the first place of a path.
func (d *document) note(at string, r unstable.Range) {
	if _, ok := d.keys[at]; !ok {
		d.keys[at] = int(r.Offset)
	}
}

func under(table, key string) string {
	if table == "" {
		return key
	}
	return table + "." + key
}

func element(at string, i int) string { return at + "[" + strconv.Itoa(i) + "]" }

// position returns line and column of the value at a path, else of its key, else of the nearest
// table around it.
func (d *document) position(at string) (line, column int) {
	for {
		o, ok := d.values[at]
		if !ok {
			o, ok = d.keys[at]
		}
		if ok {
			return d.lineOf(o)
		}
		i := strings.LastIndexAny(at, ".[")
		if i < 0 {
			return 0, 0
		}
		at = at[:i]
	}
}

func (d *document) lineOf(offset int) (line, column int) {
	before := d.data[:offset]
	return 1 + bytes.Count(before, []byte("\n")), offset - bytes.LastIndexByte(before, '\n')
}

// blame adds a problem with what stands at a path.
func (d *document) blame(at, problem, hint string) {
	line, column := d.position(at)
	d.problems = append(d.problems, &ConfigError{d.path, line, column, withoutIndexes(at), problem, hint})
}

// blameKey adds a problem with a key itself, not with its value.
func (d *document) blameKey(at, problem, hint string) {
	line, column := d.position(at)
	if o, ok := d.keys[at]; ok {
		line, column = d.lineOf(o)
	}
	d.problems = append(d.problems, &ConfigError{d.path, line, column, withoutIndexes(at), problem, hint})
}

// withoutIndexes turns a path into the key as its writer knows it.
func withoutIndexes(at string) string {
	var b strings.Builder
	skip := false
	for _, r := range at {
		switch r {
		case '[':
			skip = true
		case ']':
			skip = false
		default:
			if !skip {
				b.WriteRune(r)
			}
		}
	}
	return b.String()
}

// err joins the problems in line order, nil when there are none.
func (d *document) err() error {
	slices.SortStableFunc(d.problems, func(a, b *ConfigError) int {
		if a.Line != b.Line {
			return a.Line - b.Line
		}
		return a.Column - b.Column
	})
	all := make([]error, len(d.problems))
	for i, p := range d.problems {
		all[i] = p
	}
	return errors.Join(all...)
}
