package main

import (
	"bytes"
	"strings"
	"testing"
	"unicode"
)

// What stands for a letter is by hand; what loses its accent is by the decompositions of Unicode.
func TestPlainText(t *testing.T) {
	for text, want := range map[string]string{
		"":                      "",
		"0.044 ± 0.010 N·m":     "0.044 +- 0.010 Nm",
		"≥ 0.37 V, ≤ 3.1 N, −2": ">= 0.37 V, <= 3.1 N, -2",
		"60 °C":                 "60 deg C",
		"Gelenk Größe":          "Gelenk Grosse",
		"膝 joint":               "?? joint",
		"\x1b[31mé\x1b[0m":      "\x1b[31me\x1b[0m",
		"I²t, kg·m² or":         "I2t, kg*m^2 or",
	} {
		if got := plainText(text); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}

// A letter that comes in two pieces is one letter.
func TestPlainWriter(t *testing.T) {
	var b bytes.Buffer
	w := &plainWriter{to: &b}
	text := "a ± b, 膝\n"
	for i := range len(text) {
		if n, err := w.Write([]byte{text[i]}); n != 1 || err != nil {
			t.Fatalf("%d, %v", n, err)
		}
	}
	if got, want := b.String(), "a +- b, ??\n"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// A table that the page can not hold keeps every cell, the first one in a line of its own.
func TestSheetFolds(t *testing.T) {
	s := sheet{columns: []column{{title: "measure"}, {title: "value", right: true}, {title: "unit"}}}
	s.add("Bidirectional repeatability of the joint", "0.042 ± 0.010", "deg/N·m and more")
	var b bytes.Buffer
	p := pageForm{width: 40}
	width, fits := s.widths(s.columns, p.width)
	if fits {
		t.Fatalf("72 cells fit 40: %v", width)
	}
	rest, fits := s.widths(s.columns[1:], p.width-len(foldIndent))
	if !fits {
		t.Fatal("13, 2 and 16 cells do not fit 36")
	}
	s.printRows(&b, p, append([]int{p.width}, rest...), 1)
	want := "measure\n            value  unit\n" + "Bidirectional repeatability of the joint\n    0.042 ± 0.010  deg/N·m and more\n"
	if b.String() != want {
		t.Errorf("got\n%swant\n%s", b.String(), want)
	}
}

// The plot in ASCII: a step is a line below, a bar and a line above; where only the command is, a plus.
func TestPlainCanvas(t *testing.T) {
	c := newCanvas(5, 2)
	c.line(0, 7, 4, 7)
	c.line(4, 7, 4, 0)
	c.line(4, 0, 7, 0)
	c.mark(9, 2)
	if got, want := strings.Join(c.plainRows(), "\n"), "  |'+\n..|  "; got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	for _, r := range strings.Join(c.plainRows(), "") {
		if r > unicode.MaxASCII {
			t.Errorf("%q", r)
		}
	}
}
