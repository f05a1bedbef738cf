package report

import (
	"strings"
	"testing"
)

// hostile texts try to leave the place they are put in.
var hostile = []string{
	`<script>alert(1)</script>`,
	`"onload=alert(1) x="`,
	`'><img src=http://evil.example/x onerror=alert(1)>`,
	`]]></title></style><script src=https://evil.example/a.js></script>`,
	`--><!-- &lt;b&gt; {{.CSS}} </svg></desc>`,
	`url(http://evil.example) @import javascript:alert(1)`,
	"nul\x00 bell\x07 esc\x1b[31m vt\x0b del\x7f c1\u0085 bad\xff\xfe end",
	"turned \u202egpj.exe\u202c \u2066 and \ufffe \uffff",
	"line\r\nbreak\ttab",
	strings.Repeat("w", 5000),
	strings.Repeat("ß漢🦿", 1000),
}

// Whatever stands in a text, it stays text: nothing new is run, loaded or opened, and the page still
// balances and has the same elements as with harmless texts.
func TestHostileTextsStayText(t *testing.T) {
	shape := func(e *element) map[string]int {
		n := map[string]int{}
		e.each(func(k *element) { n[k.name]++ })
		delete(n, "text") // a long label takes the room of another in a drawing
		delete(n, "path")
		return n
	}
	want := shape(parsePage(t, render(t, fixture(asIs))))
	for _, evil := range hostile {
		page := render(t, fixture(func(s string) string { return s + " " + evil }))
		root := parsePage(t, page)
		checkClosed(t, root)
		got := shape(root)
		for name, n := range want {
			if got[name] != n {
				t.Errorf("%.30q: %d elements %s, want %d", evil, got[name], name, n)
			}
		}
		for name := range got {
			if want[name] == 0 {
				t.Errorf("%.30q: element %s is new", evil, name)
			}
		}
		for _, r := range page {
			if r < ' ' && r != '\n' || r >= 0x7f && r < 0xa0 || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 || r == 0xfffe || r == 0xffff {
				t.Errorf("%.30q: the page holds %U", evil, r)
				break
			}
		}
		if strings.Contains(page, "<script") || strings.Contains(page, `"onload`) {
			t.Errorf("%.30q is on the page unescaped", evil)
		}
		if len(page) > mostBytes {
			t.Errorf("%.30q: the page has %d bytes", evil, len(page))
		}
		if !strings.ContainsAny(evil, "\x00\x07\u202e\r") && !strings.Contains(root.text(), strings.Join(strings.Fields(evil), " ")) {
			t.Errorf("%.30q is not shown", evil)
		}
	}
}

// mostBytes is what a page may weigh, so that it opens at once on a phone.
const mostBytes = 1_500_000
