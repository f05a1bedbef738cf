package main

import (
	"html"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"limbgauge/analyze/book/booktest"
	"limbgauge/rig"
)

// fetched returns a page's text.
func fetched(t *testing.T, url string) string {
	t.Helper()
	res, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// Of 130 runs, 65 with each revision, the older ones of a revision come on further sheets, and what was asked for
// stays asked. What no run is says so and leads back.
func TestRunsPageKeepsWhatWasAsked(t *testing.T) {
	dir := t.TempDir()
	booktest.MakeIn(t, dir, 130)
	url := serveBench(t, dir, 1)
	row := regexp.MustCompile(`href="/runs/(\d+)"`)
	older := regexp.MustCompile(`href="(/runs\?[^"]*)">older`)
	var seen []string
	path := "/runs?revision=A&joint=knee"
	for sheets := 0; path != ""; sheets++ {
		text := fetched(t, url+path)
		if sheets > 1 || !strings.Contains(text, `<option selected>A</option>`) || !strings.Contains(text, `<option selected>knee</option>`) {
			t.Fatalf("sheet %d, %s: what was asked is not there", sheets+1, path)
		}
		for _, m := range row.FindAllStringSubmatch(text, -1) {
			seen = append(seen, m[1])
		}
		path = ""
		if m := older.FindStringSubmatch(text); m != nil {
			path = html.UnescapeString(m[1])
		}
	}
	if title := "<title>Runs of knee, revision A, sheet 1 of 2 - leg "; !strings.Contains(fetched(t, url+"/runs?revision=A&joint=knee"), title) {
		t.Errorf("no %s", title)
	}
	if len(seen) != 65 || seen[0] != "0065" || seen[64] != "0001" {
		t.Errorf("%d runs of revision A, want 65 from 0065 down to 0001: %v", len(seen), seen)
	}
	if text := fetched(t, url+"/runs?revision=C"); !strings.Contains(text, `<a href="/runs">show all runs</a>`) {
		t.Error("no way back from what no run is")
	}
}

// A bench without runs says on every page what to do.
func TestEmptyPagesSayWhatToDo(t *testing.T) {
	url := serveBench(t, exampleFolder(t), 1)
	for path, want := range map[string]string{
		"/runs": `<a href="/">Bench</a>`, "/lost": `<a href="/?joint=knee&amp;routine=assembly">`, "/trend": `<a href="/?joint=yaw&amp;routine=assembly">`,
		"/compare": "limbgauge rev add", "/revisions": "limbgauge rev add", "/problems": `<a href="/">Bench</a>`,
	} {
		text := fetched(t, url+path)
		if _, main, _ := strings.Cut(text, "<main"); !strings.Contains(main, want) {
			t.Errorf("%s does not say %s:\n%s", path, want, main)
		}
	}
}

// A name that is none is said to be none, with those that there are, and names stay as they are written.
func TestPagesOfUnknownNames(t *testing.T) {
	dir := t.TempDir()
	booktest.MakeIn(t, dir, 4)
	url := serveBench(t, dir, 1)
	for path, want := range map[string]string{
		"/compare?a=zzz&b=A": `There is no revision &#34;zzz&#34;`, "/compare?b=zzz": `there are: A, B`,
		"/trend?joint=zzz": `There is no joint &#34;zzz&#34; in bench.toml; there are: `,
	} {
		res, err := http.Get(url + path)
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		if text := fetched(t, url+path); res.StatusCode != http.StatusNotFound || !strings.Contains(text, want) {
			t.Errorf("%s: status %d, and no %s in\n%s", path, res.StatusCode, want, text)
		}
	}
	if text := fetched(t, url+"/compare"); !strings.Contains(text, "<option selected>A</option>") || !strings.Contains(text, "<option selected>B</option>") {
		t.Error("the page does not open with A and B")
	}
	if text := fetched(t, url+"/trend?joint=knee"); !strings.Contains(text, "<h1>knee: ") {
		t.Error("a joint's name does not stand as it is written")
	}
}

// Where nothing limits a measure all of them are shown, with the place where limits are set.
func TestPagesWithoutLimits(t *testing.T) {
	folder := unlimited(t)
	url := serveBench(t, folder, 1)
	for _, path := range []string{"/trend?joint=knee", "/compare"} {
		text := fetched(t, url+path)
		for _, want := range []string{"play_deg", "joint.limits", "Overshoot", "Natural frequency"} {
			if !strings.Contains(text, want) {
				t.Errorf("%s lacks %q", path, want)
			}
		}
	}
	for _, args := range [][]string{{"trend", "knee"}, {"compare", "A", "B"}} {
		_, out, _ := in(t, folder, args...)
		for _, want := range []string{"play_deg", "Overshoot", "Natural frequency"} {
			if !strings.Contains(out, want) {
				t.Errorf("%v lacks %q:\n%s", args, want, out)
			}
		}
		if strings.Contains(out, "--all shows them") {
			t.Errorf("%v offers what is shown:\n%s", args, out)
		}
	}
}

// unlimited is a bench of a run with each of two revisions whose joint has no limits.
func unlimited(t *testing.T) string {
	t.Helper()
	folder := t.TempDir()
	text := regexp.MustCompile(`(?ms)^\[joint\.limits\]\n.*?(^\[|\z)`).ReplaceAllString(rig.ExampleBench(), "$1")
	if err := os.WriteFile(filepath.Join(folder, benchFile), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, r := range []string{"A", "B"} {
		if err := os.WriteFile(filepath.Join(folder, r+".stl"), []byte(r), 0o644); err != nil {
			t.Fatal(err)
		}
		for _, args := range [][]string{{"rev", "add", r, "--part", "femur=" + filepath.Join(folder, r+".stl")}, {"sweep", "knee", "--yes", "--speed", "0", "--seed", "1"}} {
			if code, out, errs := in(t, folder, args...); code != 0 {
				t.Fatalf("%v: %s%s", args, out, errs)
			}
		}
	}
	return folder
}
