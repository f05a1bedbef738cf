package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"limbgauge/rig/session"
)

// traceSpan is how much of the stand's time the live plot shows.
const traceSpan = 20 * time.Second

// Rows of the live plot, cells left and right of it, and the least terminal that has room for it.
const (
	plotRows      = 3
	plotLeft      = 8
	plotRight     = 11
	plotLeastCols = 60
	plotLeastRows = 8
)

// trace is the last seconds of what a joint was asked and what it did.
type trace struct {
	joint  string
	points []tracePoint // oldest first
}

// tracePoint is a reading; what was not measured is NaN.
type tracePoint struct {
	at             time.Duration
	command, angle float64
}

// take adds a reading. Another joint, or time that ran back, begins anew.
func (t *trace) take(s session.Snapshot) {
	if n := len(t.points); s.Joint != t.joint || n > 0 && s.Done < t.points[n-1].at {
		t.joint, t.points = s.Joint, nil
	}
	t.points = append(t.points, tracePoint{s.Done, s.CommandDeg, s.AngleDeg})
	if old := len(t.points) - len(t.recent()); old > len(t.points)/2 { // seldom, so that each is moved about once
		t.points = append(t.points[:0], t.points[old:]...)
	}
}

// recent are the readings that are shown.
func (t *trace) recent() []tracePoint {
	n := len(t.points)
	if n == 0 {
		return nil
	}
	from := t.points[n-1].at - traceSpan
	i, _ := slices.BinarySearchFunc(t.points, from, func(p tracePoint, at time.Duration) int { return cmp.Compare(p.at, at) })
	return t.points[i:]
}

// lines draws the trace over so many cells: the angle as a line, the command as dots beside it, so that
// shape and not colour tells them apart. plain draws with letters of ASCII.
func (t *trace) lines(width int, plain bool) []string {
	room := width - plotLeft - plotRight
	points := t.recent()
	lo, hi := reachOf(points)
	if room < 10 || math.IsNaN(lo) {
		return nil
	}
	c := newCanvas(room, plotRows)
	end := points[len(points)-1].at
	place := func(at time.Duration, deg float64) (x, y int) {
		x = int(math.Round(float64(c.across()-1) * (1 - float64(end-at)/float64(traceSpan))))
		y = int(math.Round(float64(c.down()-1) * (hi - deg) / (hi - lo)))
		return x, y
	}
	for i, p := range points {
		if x, y := place(p.at, p.command); !math.IsNaN(p.command) && x%3 == 0 {
			c.mark(x, y)
		}
		if math.IsNaN(p.angle) {
			continue
		}
		x, y := place(p.at, p.angle)
		if i > 0 && !math.IsNaN(points[i-1].angle) {
			fromX, fromY := place(points[i-1].at, points[i-1].angle)
			c.line(fromX, fromY, x, y)
		} else {
			c.dot(x, y)
		}
	}
	left := []string{fmt.Sprintf("%+.1f", hi), "deg", fmt.Sprintf("%+.1f", lo)}
	out, right := c.rows(), []string{"⠤⠤ is", "⠄ ⠄ asked"}
	if plain {
		out, right = c.plainRows(), []string{"-- is", "+ + asked"}
	}
	right = append(right, fmt.Sprintf("last %.0f s", traceSpan.Seconds()))
	for i := range out {
		out[i] = fmt.Sprintf("%*s ", plotLeft-1, left[i]) + out[i] + " " + right[i]
	}
	return out
}

// leastReach keeps noise at rest from filling the plot.
const leastReach = 2.0 // deg [common practice]

// reachOf returns what the plot must hold, NaN without any reading.
func reachOf(points []tracePoint) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, p := range points {
		for _, v := range []float64{p.command, p.angle} {
			if !math.IsNaN(v) {
				lo, hi = min(lo, v), max(hi, v)
			}
		}
	}
	if lo > hi {
		return math.NaN(), math.NaN()
	}
	if more := leastReach - (hi - lo); more > 0 {
		lo, hi = lo-more/2, hi+more/2
	}
	return lo, hi
}

// canvas is a field of dots, eight to a letter: the Braille patterns of Unicode, from U+2800. Marks are
// dots that letters without such patterns tell from the others.
type canvas struct {
	wide        int
	dots, marks [][]rune // a bit for each, as the patterns have them
}

func newCanvas(wide, rows int) *canvas {
	c := &canvas{wide: wide, dots: make([][]rune, rows), marks: make([][]rune, rows)}
	for i := range rows {
		c.dots[i], c.marks[i] = make([]rune, wide), make([]rune, wide)
	}
	return c
}

func (c *canvas) across() int { return 2 * c.wide }
func (c *canvas) down() int   { return 4 * len(c.dots) }

func (c *canvas) dot(x, y int)  { c.set(c.dots, x, y) }
func (c *canvas) mark(x, y int) { c.set(c.marks, x, y) }

// set sets a dot; one outside the canvas is left out.
func (c *canvas) set(of [][]rune, x, y int) {
	if x < 0 || y < 0 || x >= c.across() || y >= c.down() {
		return
	}
	bits := [4][2]rune{{0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}}
	of[y/4][x/2] |= bits[y%4][x%2]
}

// line sets the dots from one place to another.
func (c *canvas) line(x0, y0, x1, y1 int) {
	n := max(abs(x1-x0), abs(y1-y0), 1)
	for i := range n + 1 {
		f := float64(i) / float64(n)
		c.dot(x0+int(math.Round(f*float64(x1-x0))), y0+int(math.Round(f*float64(y1-y0))))
	}
}

func abs(n int) int { return max(n, -n) }

func (c *canvas) rows() []string {
	return c.drawn(func(dots, marks rune) rune { return 0x2800 + (dots | marks) })
}

// plainRows draws each letter's dots by where they lie in it: a quote above, a dash in the middle, a point
// below, a bar from top to bottom; where there is only a mark, a plus.
func (c *canvas) plainRows() []string {
	const above, middle, below = 0x01 | 0x08, 0x02 | 0x10 | 0x04 | 0x20, 0x40 | 0x80
	return c.drawn(func(dots, _ rune) rune {
		switch up, down := dots&above != 0, dots&below != 0; {
		case dots == 0:
			return '+'
		case up && down:
			return '|'
		case dots&middle != 0:
			return '-'
		case up:
			return '\''
		}
		return '.'
	})
}

// drawn puts the letter of its dots and marks in each place that has any.
func (c *canvas) drawn(letter func(dots, marks rune) rune) []string {
	var out []string
	for i := range c.dots {
		var b strings.Builder
		for j := range c.wide {
			if c.dots[i][j]|c.marks[i][j] == 0 {
				b.WriteByte(' ')
				continue
			}
			b.WriteRune(letter(c.dots[i][j], c.marks[i][j]))
		}
		out = append(out, b.String())
	}
	return out
}
