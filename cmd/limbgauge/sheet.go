package main

import (
	"fmt"
	"io"
	"slices"
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

// print writes the sheet as wide as the writer's page. Where even the narrowest columns do not fit, each row
// takes two lines: as few of its first cells stand above the rest as make room for it.
func (t *sheet) print(w io.Writer) {
	p := pageOf(w)
	t = t.set(p)
	room := p.width - cells(t.indent)
	width, fits := t.widths(t.columns, room)
	above := 0
	for !fits && above < len(t.columns)-1 {
		above++
		var rest []int
		rest, fits = t.widths(t.columns[above:], room-len(foldIndent))
		width = append(slices.Clone(width[:above]), rest...)
	}
	t.printRows(w, p, width, above)
}

// foldIndent stands before the rest of a row whose first cells stand above it.
const foldIndent = "    "

// set returns the sheet, its titles with it, in the letters of a page.
func (t *sheet) set(p pageForm) *sheet {
	out := *t
	out.columns, out.rows = nil, nil
	for _, c := range t.columns {
		c.title = p.text(c.title)
		out.columns = append(out.columns, c)
	}
	for _, row := range t.rows {
		var set []string
		for _, v := range row {
			set = append(set, p.text(v))
		}
		out.rows = append(out.rows, set)
	}
	return &out
}

// printRows writes titles and rows; so many cells of a row stand above the rest.
func (t *sheet) printRows(w io.Writer, p pageForm, width []int, above int) {
	head := make([]string, len(t.columns))
	for i, c := range t.columns {
		head[i] = c.title
	}
	for _, row := range append([][]string{head}, t.rows...) {
		line := t.indent
		for i, v := range row {
			room := width[i]
			if i == len(row)-1 || i == above-1 {
				room = max(p.width-cells(line), 1)
			}
			v = shorten(v, room)
			if t.columns[i].right {
				v = strings.Repeat(" ", max(0, width[i]-cells(v))) + v
			}
			if i == above-1 && i < len(row)-1 {
				if above := strings.TrimRight(line+v, " "); above != "" { // else the row goes on with the one before
					fmt.Fprintln(w, above)
				}
				line = t.indent + foldIndent
				continue
			}
			line += pad(v, width[i]+t.between())
		}
		fmt.Fprintln(w, strings.TrimRight(line, " "))
	}
}

func (t *sheet) between() int {
	if t.gap == 0 {
		return usualGap
	}
	return t.gap
}

// widths returns the width of the last columns, narrowed until so many cells hold them; fits says whether
// they do.
func (t *sheet) widths(columns []column, room int) (width []int, fits bool) {
	first := len(t.columns) - len(columns)
	width, all := make([]int, len(columns)), t.between()*(len(columns)-1)
	for i, c := range columns {
		width[i] = cells(c.title)
		for _, row := range t.rows {
			if at := first + i; at < len(row) && (at < len(row)-1 || len(row) == len(t.columns)) {
				width[i] = max(width[i], cells(row[at]))
			}
		}
		all += width[i]
	}
	for ; all > room; all-- {
		most := -1
		for i, c := range columns {
			if c.least > 0 && width[i] > c.least && (most < 0 || width[i] > width[most]) {
				most = i
			}
		}
		if most < 0 {
			return width, false
		}
		width[most]--
	}
	return width, true
}
