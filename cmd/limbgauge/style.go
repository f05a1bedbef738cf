package main

import (
	"io"
	"os"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/term"
	"golang.org/x/text/width"
)

// style colours words by what they mean. A colour never says anything alone: the word or mark that it is
// on says the same. The zero style leaves words as they are.
type style struct{ on bool }

// styleOf returns how to write to w: with colour only on a terminal that has it, and whose user did not
// ask for none (no-color.org: any value of NO_COLOR but the empty one).
func styleOf(w io.Writer) style {
	_, ok := terminalOf(w)
	return style{ok && os.Getenv("NO_COLOR") == ""}
}

// terminalOf returns the terminal that w is, where it is one that knows control sequences.
func terminalOf(w io.Writer) (fd int, ok bool) {
	f, ok := bottom(w).(*os.File)
	if !ok || os.Getenv("TERM") == "dumb" {
		return 0, false
	}
	fd = int(f.Fd())
	return fd, term.IsTerminal(fd) && sequences(fd)
}

// bottom is the writer that one writes to in the end.
func bottom(w io.Writer) io.Writer {
	for {
		on, ok := w.(interface{ below() io.Writer })
		if !ok {
			return w
		}
		w = on.below()
	}
}

// The colours are of the first eight, which every terminal lets its user choose (ECMA-48, SGR).
func (s style) good(text string) string  { return s.paint("32", text) }
func (s style) bad(text string) string   { return s.paint("1;31", text) }
func (s style) doubt(text string) string { return s.paint("33", text) }
func (s style) quiet(text string) string { return s.paint("2", text) }

func (s style) paint(code, text string) string {
	if !s.on || text == "" {
		return text
	}
	return "\x1b[" + code + "m" + text + "\x1b[0m"
}

// as writes text in the colour of a verdict, a severity, a state; one that has none stays plain.
func (s style) as(word, text string) string {
	switch word {
	case "pass", "ok", "better", "cured", "holds", "whole":
		return s.good(text)
	case "fail", "fault", "worse", "returned", "open":
		return s.bad(text)
	case "unproven", "warning", "answered", "cut, not sealed", "cut", "stopped", "tripped", "cannot tell":
		return s.doubt(text)
	case "hint", "same within margin":
		return s.quiet(text)
	}
	return text
}

// cells is how many cells of a terminal a text takes: control sequences and marks that stand on another
// letter take none, letters of double width two (Unicode Standard Annex 11).
func cells(s string) (n int) {
	for s != "" {
		piece, wide := firstPiece(s)
		s, n = s[len(piece):], n+wide
	}
	return n
}

// firstPiece splits the first letter or control sequence off, with the cells it takes.
func firstPiece(s string) (piece string, wide int) {
	if strings.HasPrefix(s, "\x1b[") {
		end := strings.IndexFunc(s[2:], func(r rune) bool { return r >= '@' && r <= '~' })
		if end < 0 {
			return s, 0
		}
		return s[:2+end+1], 0
	}
	r, size := utf8.DecodeRuneInString(s)
	return s[:size], cellsOf(r)
}

func cellsOf(r rune) int {
	switch k := width.LookupRune(r).Kind(); {
	case unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf, unicode.Cc):
		return 0
	case k == width.EastAsianWide || k == width.EastAsianFullwidth:
		return 2
	}
	return 1
}

// pad fills a text up to n cells.
func pad(s string, n int) string { return s + strings.Repeat(" ", max(0, n-cells(s))) }

// shorten cuts a text to so many cells, and shows that it did. Its colours end as they did.
func shorten(s string, n int) string {
	if cells(s) <= n {
		return s
	}
	var b strings.Builder
	for room, full := n-1, false; s != ""; {
		piece, wide := firstPiece(s)
		s, room = s[len(piece):], room-wide
		if !full && room < 0 {
			full = true
			text := strings.TrimRight(b.String(), " ")
			b.Reset()
			b.WriteString(text + "…")
		}
		if !full || strings.HasPrefix(piece, "\x1b[") {
			b.WriteString(piece)
		}
	}
	return b.String()
}
