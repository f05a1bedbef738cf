package report

import (
	"fmt"
	"html/template"
	"strings"

	"golang.org/x/text/width"
)

// Margins is the style that puts leg, revision, run and date into the head of every printed page of
// Record, beside CSS, which says where. The page numbers are the browser's. It may stand within a
// style element.
func Margins(d *Document) template.CSS {
	left := "Leg " + shorten(first(clean(d.leg()), "without a name"), 40)
	if r := clean(d.revision()); r != "" {
		left += ", revision " + shorten(r, 30)
	} else {
		left += ", no revision stated"
	}
	right := "run " + shorten(first(clean(d.runID()), "without a number"), 20)
	if t := d.Run.Started; !t.IsZero() {
		right += ", " + t.Format("2 January 2006")
	}
	return template.CSS(":root { --print-left: " + cssString(left) + "; --print-right: " + cssString(right) + " }\n")
}

// cssString writes a text as a string of a style sheet that stands in an HTML page: whatever could end
// the string, the rule or the style element is written as its number (CSS Syntax Module Level 3, 4.3.7).
func cssString(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == ' ', r == ',', r == '.', r == '-', r >= 0xa0:
			b.WriteRune(r)
		default:
			fmt.Fprintf(&b, `\%x `, r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// shorten cuts a text to so many cells of a line, of which a wide letter takes two.
func shorten(s string, most int) string {
	cells := 0
	for i, r := range s {
		if k := width.LookupRune(r).Kind(); k == width.EastAsianWide || k == width.EastAsianFullwidth {
			cells++
		}
		if cells++; cells > most {
			return s[:i] + "…"
		}
	}
	return s
}
