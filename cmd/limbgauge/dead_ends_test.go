package main

import (
	"io"
	"net/http"
	"strings"
	"testing"
)

// What is not there is said on a page of our own, with the way to all pages and one to go on, whatever the bench's
// folder is called on the command line; a browser that asks for an icon by itself gets it.
func TestWhatIsNotThereLeadsOn(t *testing.T) {
	url := serveBench(t, exampleFolder(t), 1)
	for path, want := range map[string][]string{
		noRun:           {"There is no run 9999 on this bench.", `<a href="/runs">All runs</a>`},
		"/nope":         {"There is no page /nope.", `<a href="/">Bench</a>`},
		"/nope/%3Cb%3E": {"There is no page /nope/&lt;b&gt;."},
	} {
		res, err := http.Get(url + path)
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(res.Body)
		res.Body.Close()
		if err != nil {
			t.Fatal(err)
		}
		if res.StatusCode != http.StatusNotFound {
			t.Errorf("%s: %s", path, res.Status)
		}
		for _, w := range append(want, `<nav aria-label="Pages">`, `name="viewport"`) {
			if !strings.Contains(string(text), w) {
				t.Errorf("%s lacks %s", path, w)
			}
		}
	}
	res, err := http.Get(url + "/favicon.ico")
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if kind := res.Header.Get("Content-Type"); res.StatusCode != http.StatusOK || kind != "image/svg+xml" {
		t.Errorf("favicon: %s, %q", res.Status, kind)
	}
}
