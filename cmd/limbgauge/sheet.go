package main

import (
	"fmt"
	"io"
	"strings"
)

// sheet sets cells in columns as wide as what stands in them, and cuts the longest where a line would be
// wider than the page. Colours have no width here; to a tab writer they would.
type sheet struct {
	columns []column
	rows    [][]string // one with fewer cells than columns is a remark: its last cell runs on
	indent  string
	gap     int // between columns; 0 for the usual one
}

type column struct {
	title string
	least int  // cells left of it at least where the page is too narrow; 0: it is never cut
	right bool // figures end below each other
}

const usualGap = 2

func (t *sheet) add(row ...string) { t.rows = append(t.rows, row) }

func (t *sheet) print(w io.Writer) {
	width, gap := t.widths(), t.between()
	head := make([]string, len(t.columns))
	for i, c := range t.columns {
		head[i] = c.title
	}
	for _, row := range append([][]string{head}, t.rows...) {
		var b strings.Builder
		b.WriteString(t.indent)
		for i, v := range row {
			room := width[i]
			if i == len(row)-1 {
				room = max(pageWidth-cells(b.String()), 1)
			}
			v = shorten(v, room)
			if t.columns[i].right {
				v = strings.Repeat(" ", max(0, width[i]-cells(v))) + v
			}
			b.WriteString(pad(v, width[i]+gap))
		}
		fmt.Fprintln(w, strings.TrimRight(b.String(), " "))
	}
}

func (t *sheet) between() int {
	if t.gap == 0 {
		return usualGap
	}
	return t.gap
}

// widths returns the width of every column, narrowed until the page holds them.
func (t *sheet) widths() []int {
	width, all := make([]int, len(t.columns)), cells(t.indent)+t.between()*(len(t.columns)-1)
	for i, c := range t.columns {
		width[i] = cells(c.title)
		for _, row := range t.rows {
			if i < len(row) && (i < len(row)-1 || len(row) == len(t.columns)) {
				width[i] = max(width[i], cells(row[i]))
			}
		}
		all += width[i]
	}
	for ; all > pageWidth; all-- {
		most := -1
		for i, c := range t.columns {
			if c.least > 0 && width[i] > c.least && (most < 0 || width[i] > width[most]) {
				most = i
			}
		}
		if most < 0 {
			break
		}
		width[most]--
	}
	return width
}
