package report

import (
	"strconv"
	"strings"
	"testing"
)

// unescapeCSS reads a string token of a style sheet by the rules of CSS Syntax Module Level 3, 4.3.5 and
// 4.3.7, and returns what stands behind it.
func unescapeCSS(t *testing.T, s string) (text, rest string) {
	t.Helper()
	if s == "" || s[0] != '"' {
		t.Fatalf("%q is no string", s)
	}
	r := []rune(s[1:])
	var b strings.Builder
	for i := 0; i < len(r); i++ {
		switch {
		case r[i] == '"':
			return b.String(), string(r[i+1:])
		case r[i] == '\n':
			t.Fatalf("a line ends within the string %q", s)
		case r[i] == '\\':
			hex := ""
			for i+1 < len(r) && len(hex) < 6 && strings.ContainsRune("0123456789abcdefABCDEF", r[i+1]) {
				i++
				hex += string(r[i])
			}
			if hex == "" {
				i++
				b.WriteRune(r[i])
				continue
			}
			n, err := strconv.ParseInt(hex, 16, 32)
			if err != nil {
				t.Fatal(err)
			}
			b.WriteRune(rune(n))
			if i+1 < len(r) && r[i+1] == ' ' {
				i++
			}
		default:
			b.WriteRune(r[i])
		}
	}
	t.Fatalf("the string %q has no end", s)
	return "", ""
}

// What a name holds stays in its string of the style sheet, and reads as it was.
func TestCSSStringHoldsAnything(t *testing.T) {
	for _, s := range append([]string{"", `"`, `\`, `\"`, `'; } * { display: none }`, "</style><script>", "a\nb", "5\\a", "f00", "漢字 ß 🦿", "/* */", "<!--", "@import url(x)"}, hostile...) {
		s = clean(s)
		token := cssString(s)
		got, rest := unescapeCSS(t, token)
		if got != s || rest != "" {
			t.Errorf("%q is read as %q, followed by %q", s, got, rest)
		}
		if strings.ContainsAny(token[1:len(token)-1], "<>\"'@(){};/*\n") {
			t.Errorf("%q is written %q", s, token)
		}
	}
}

func TestMarginsSayWhatIsInHand(t *testing.T) {
	for name, c := range map[string]struct {
		d    *Document
		want []string
	}{
		"all":        {fixture(asIs), []string{"Leg fore-left, revision B", "run 0044, 1 March 2026"}},
		"nothing":    {&Document{}, []string{"Leg without a name, no revision stated", "run without a number"}},
		"long names": {&Document{Run: Run{Leg: strings.Repeat("漢", 50), Revision: strings.Repeat("r", 50)}}, []string{"Leg " + strings.Repeat("漢", 20) + "…, revision " + strings.Repeat("r", 30) + "…", "run without a number"}},
	} {
		_, left, _ := strings.Cut(string(Margins(c.d)), "--print-left: ")
		got, rest := unescapeCSS(t, left)
		_, right, _ := strings.Cut(rest, "--print-right: ")
		also, _ := unescapeCSS(t, right)
		if got != c.want[0] || also != c.want[1] {
			t.Errorf("%s: %q and %q", name, got, also)
		}
	}
}
