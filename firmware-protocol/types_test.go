package wire

import (
	"slices"
	"testing"
	"unicode"
)

var ascii = &unicode.RangeTable{R16: []unicode.Range16{{Lo: 0x20, Hi: 0x7E, Stride: 1}}}

func allTypes() []Type {
	var all []Type
	for t := range typeNames {
		all = append(all, t)
	}
	slices.Sort(all)
	return all
}

func TestNewKnowsEveryType(t *testing.T) {
	for i := range 256 {
		typ := Type(i)
		_, named := typeNames[typ]
		m := New(typ)
		if (m != nil) != named {
			t.Errorf("%s: New gives %v, named %t", typ, m, named)
		}
		if m != nil && m.Type() != typ {
			t.Errorf("New(%s) makes a %s", typ, m.Type())
		}
	}
}
