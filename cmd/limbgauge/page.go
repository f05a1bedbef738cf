package main

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/term"
	"golang.org/x/text/unicode/norm"
)

// pageWidth is how wide an answer is at most, in cells; on a narrower terminal it is as wide as that, but
// below leastWidth, where a table could not be read any more, the terminal breaks lines by itself.
const (
	pageWidth  = 80
	leastWidth = 40
)

// pageForm is how text is set for a writer.
type pageForm struct {
	width int
	plain bool // it takes the letters of ASCII only
}

func pageOf(w io.Writer) pageForm {
	p := pageForm{width: pageWidth}
	if fd, ok := terminalOf(w); ok {
		p.plain = !hasUnicode()
		if cols, _, err := term.GetSize(fd); err == nil && cols > 0 {
			p.width = max(leastWidth, min(cols, pageWidth))
		}
	}
	return p
}

// text is a text in the letters that the page takes. It is changed before it is set, since what stands
// for a letter may be wider.
func (p pageForm) text(s string) string {
	if p.plain {
		return plainText(s)
	}
	return s
}

// say writes a paragraph, every line indented and all but the first two cells deeper.
func say(w io.Writer, indent, text string) {
	p := pageOf(w)
	fmt.Fprint(w, wrap(p.text(text), indent, p.width))
}

// sayApart is say below an empty line.
func sayApart(w io.Writer, indent, text string) {
	fmt.Fprintln(w)
	say(w, indent, text)
}

// wrap breaks text at spaces to the width, every line indented, following lines two deeper.
func wrap(text, indent string, width int) string { return hang(text, indent, indent+"  ", width) }

// plainLetters are what stands for letters outside ASCII that answers are written with.
func plainLetters() *strings.Replacer {
	return strings.NewReplacer("N·m", "Nm", "±", "+-", "≥", ">=", "≤", "<=", "−", "-", "–", "-", "…", "~", "°", "deg ", "² ", "^2 ", "²", "2",
		"·", "*", "×", "x", "→", "->", "Ω", "ohm", "µ", "u", "μ", "u", "ß", "ss", "ø", "o", "Ø", "O", "æ", "ae", "œ", "oe", "ł", "l",
		"“", `"`, "”", `"`, "‘", "'", "’", "'", "—", "-")
}

// plainText writes a text in ASCII: letters lose their accents, one that nothing stands for becomes a
// question mark for each cell it takes.
func plainText(s string) string {
	if strings.IndexFunc(s, func(r rune) bool { return r > unicode.MaxASCII }) < 0 {
		return s
	}
	var b strings.Builder
	for _, r := range norm.NFD.String(plainLetters().Replace(s)) {
		if r > unicode.MaxASCII {
			b.WriteString(strings.Repeat("?", cellsOf(r)))
			continue
		}
		b.WriteRune(r)
	}
	return b.String()
}

// plainWriter writes to a terminal whose locale has no Unicode.
type plainWriter struct {
	to   io.Writer
	rest []byte // of a letter that was cut
}

func (w *plainWriter) Write(b []byte) (int, error) {
	all := append(w.rest, b...)
	end := len(all)
	for i := 1; i <= min(utf8.UTFMax, len(all)); i++ {
		if tail := all[len(all)-i:]; utf8.RuneStart(tail[0]) {
			if !utf8.FullRune(tail) {
				end -= i
			}
			break
		}
	}
	w.rest = append([]byte(nil), all[end:]...)
	if _, err := io.WriteString(w.to, plainText(string(all[:end]))); err != nil {
		return 0, err
	}
	return len(b), nil
}

func (w *plainWriter) below() io.Writer { return w.to }

// forTerminal returns how to write to w: as it is, but in ASCII where it is a terminal without Unicode.
func forTerminal(w io.Writer) io.Writer {
	if _, ok := terminalOf(w); ok && !hasUnicode() {
		return &plainWriter{to: w}
	}
	return w
}

// counter counts what goes through it.
type counter struct {
	to           io.Writer
	lines, bytes int
}

func (c *counter) Write(b []byte) (int, error) {
	n, err := c.to.Write(b)
	c.bytes += n
	c.lines += bytes.Count(b[:n], []byte("\n"))
	return n, err
}

func (c *counter) below() io.Writer { return c.to }
