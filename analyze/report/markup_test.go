package report

import (
	"encoding/xml"
	"errors"
	"io"
	"regexp"
	"strings"
	"testing"
)

// element is one node of a parsed page.
type element struct {
	name  string
	attrs map[string]string
	kids  []*element
	own   strings.Builder // text of the element and all below it
}

func (e *element) text() string { return strings.Join(strings.Fields(e.own.String()), " ") }

// each calls do for the element and all below it.
func (e *element) each(do func(*element)) {
	do(e)
	for _, k := range e.kids {
		k.each(do)
	}
}

// all returns the elements of a name and, where class is not empty, of a class.
func (e *element) all(name, class string) []*element {
	var out []*element
	e.each(func(k *element) {
		if k.name == name && (class == "" || strings.Contains(" "+k.attrs["class"]+" ", " "+class+" ")) {
			out = append(out, k)
		}
	})
	return out
}

var voids = regexp.MustCompile(`<(meta|br)([^>]*)>`)

// parsePage reads a page with the strict XML reader of the standard library, once the elements
// HTML leaves open by rule are closed. So every tag has its partner and every attribute its quotes.
func parsePage(t testing.TB, page string) *element {
	t.Helper()
	return parseXML(t, voids.ReplaceAllString(page, "<$1$2/>"))
}

func parseXML(t testing.TB, doc string) *element {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(doc))
	root := &element{attrs: map[string]string{}}
	open := []*element{root}
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return root
		}
		if err != nil {
			at := int(d.InputOffset())
			t.Fatalf("markup does not balance: %v, near %q", err, doc[max(0, at-80):min(len(doc), at+20)])
		}
		switch k := tok.(type) {
		case xml.StartElement:
			e := &element{name: k.Name.Local, attrs: map[string]string{}}
			for _, a := range k.Attr {
				e.attrs[a.Name.Local] = a.Value
			}
			last := open[len(open)-1]
			last.kids = append(last.kids, e)
			open = append(open, e)
		case xml.EndElement:
			open = open[:len(open)-1]
		case xml.CharData:
			for _, e := range open {
				e.own.Write(k)
			}
		}
	}
}

var loads = regexp.MustCompile(`(?i)url\s*\(|@import|image-set|expression\s*\(`)

// checkClosed fails where a page runs anything or loads anything from outside.
func checkClosed(t *testing.T, root *element) {
	t.Helper()
	forbidden := map[string]bool{"script": true, "iframe": true, "object": true, "embed": true, "link": true, "img": true,
		"base": true, "form": true, "foreignObject": true, "image": true, "audio": true, "video": true}
	root.each(func(e *element) {
		if forbidden[strings.ToLower(e.name)] {
			t.Errorf("element %s in the page", e.name)
		}
		for name, value := range e.attrs {
			low := strings.ToLower(name)
			switch {
			case strings.HasPrefix(low, "on"):
				t.Errorf("attribute %s on %s", name, e.name)
			case low == "src" || low == "srcset" || low == "data" || low == "action" || low == "poster":
				t.Errorf("attribute %s=%q on %s", name, value, e.name)
			case low == "href" && !strings.HasPrefix(value, "#"):
				t.Errorf("link to %q", value)
			case low != "aria-label" && !strings.HasPrefix(low, "data-") && loads.MatchString(value): // a label is text, whatever it says
				t.Errorf("attribute %s=%q loads", name, value)
			}
		}
		if e.name == "style" && loads.MatchString(e.text()) {
			t.Errorf("the style sheet loads: %s", loads.FindString(e.text()))
		}
	})
}
