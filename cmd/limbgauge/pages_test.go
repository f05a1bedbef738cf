package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// axeVariable names the script of axe-core, an engine of accessibility rules. Its licence (MPL-2.0) is no
// matter here: it is fetched for the tests and part of nothing.
const axeVariable = "LIMBGAUGE_AXE"

// axeScript reads the engine. Without it the text is empty and why says what is missing: a test skips, or fails
// where all is required.
func axeScript(t *testing.T) (text, why string) {
	t.Helper()
	script, err := os.ReadFile(os.Getenv(axeVariable))
	if err == nil && len(script) > 0 {
		return string(script), ""
	}
	why = axeVariable + " names no script of axe-core; .ci/run says how to fetch it"
	if os.Getenv(requireAll) != "" {
		t.Fatal(why)
	}
	return "", why
}

// The rules: WCAG 2.2, levels A and AA, in light; in dark only colours differ. "best-practice" holds headings
// and landmarks.
var (
	allRules    = []string{"wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"}
	colourRules = []string{"color-contrast", "link-in-text-block"}
)

// least sizes of text, rem: of the page, and in a drawing as it is shown.
const (
	leastRem      = 0.8
	leastDrawnRem = 0.6
)

// smallText asks for text below them.
var smallText = fmt.Sprintf("look.small(%g, %g)", leastRem, leastDrawnRem)

// asked evaluates a question of testdata/look.js, which answers with what is wrong.
func (b *tab) asked(question string) []string {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, 60*time.Second)
	defer cancel()
	wrong, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](question, chromedp.EvalAwaitPromise))
	if err != nil {
		b.t.Fatalf("%s: %v", question, err)
	}
	return wrong
}

// bring puts scripts into the open page, as a developer's tools would: its own policy does not ask.
func (b *tab) bring(scripts ...string) {
	b.t.Helper()
	for _, s := range scripts {
		b.do(func(ctx context.Context, t *chromedp.Target) (v chromedp.Void, err error) {
			_, err = chromedp.Evaluate[any]("(() => {"+s+"\n})(), 0")(ctx, t)
			return v, err
		})
	}
}

// open opens a page and waits until all of it is there.
func (b *tab) open(url string) {
	b.t.Helper()
	b.do(chromedp.Navigate(url))
	b.arrives(`location.href !== "about:blank"`)
}

// arrives waits until a page is there of which an expression is true. The page before may answer for a moment, or
// nobody.
func (b *tab) arrives(expression string) {
	b.t.Helper()
	for range 600 {
		if there, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](expression+` && document.readyState === "complete"`)); err == nil && there {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	b.t.Fatalf("no page came of which it is true that %s", expression)
}

func quoted(v any) string {
	text, err := json.Marshal(v)
	if err != nil {
		panic(err) // words only
	}
	return string(text)
}

// complain fails a test with what is wrong at a place.
func complain(t testing.TB, place string, wrong []string) {
	t.Helper()
	for _, w := range wrong {
		t.Errorf("%s: %s", place, w)
	}
}

// folds is a script that opens or closes every fold of the page.
func folds(open bool) string {
	return `for (const d of document.querySelectorAll("details")) d.open = ` + quoted(open)
}

// lookScript reads the questions that tests ask of a page.
func lookScript(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile("testdata/look.js")
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// badPage breaks one rule after the other, so that what finds nothing elsewhere is seen to find something.
const badPage = `<!DOCTYPE html><html lang="en"><head><title>Bad</title><style>
html { background: #ffffff } .pale { color: #999999 } .tiny { font-size: 0.7rem } .far { width: 200vw }
.heap { height: 1rem } .move { transition: opacity 1s } .bare:focus-visible { outline: none } .under { height: 40px; position: relative } .lid { position: absolute; inset: 0; background: #ffffff }
</style></head><body><main><h1>Bad</h1><h1>Worse</h1><h4>skipped</h4>
<p class="pale">too pale to read</p><p class="tiny">too small to read</p><p class="far move">far</p>
<img src="data:," width="20" height="20"><input><button style="width:9px;height:9px;padding:0" aria-label="a"></button><button style="width:9px;height:9px;padding:0" aria-label="b"></button>
<div class="heap">one line</div><div class="heap" style="margin-top:-1rem">another line</div>
<svg role="img" aria-label="plot" viewBox="0 0 100 40" width="200"><rect width="100" height="40" fill="#14588f"/><text x="10" y="20" font-size="10" fill="#55625d">on a bar</text></svg>
<a href="#" class="bare" tabindex="0">no ring</a><a href="#" tabindex="3">first</a><div class="under"><a href="#">hidden below</a><div class="lid"></div></div>
</main></body></html>`

// A page that breaks the rules is told so: what follows can fail.
func TestBadPageIsTold(t *testing.T) {
	axe, why := axeScript(t)
	if why != "" {
		t.Skip(why)
	}
	look := lookScript(t)
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.Write([]byte(badPage)) }))
	defer srv.Close()
	b := openBrowser(t).tab(t)
	b.open(srv.URL)
	b.bring(axe, look)
	for question, want := range map[string][]string{
		"look.axeOn(" + quoted(allRules) + ")": {"color-contrast", "image-alt", "label", "target-size", "heading-order"},
		"look.drawnText()":                     {"on a bar"},
		"look.small(0.8, 0.8)":                 {"too small to read"},
		"look.untold()":                        {`says only "plot"`},
		"look.collisions()":                    {"lie on each other"},
		"look.wide()":                          {"stand out to the side"},
		"look.restless()":                      {"glides"},
		"look.framed()":                        {"2 of h1"},
	} {
		got := strings.Join(b.asked(question), "\n")
		for _, w := range want {
			if !strings.Contains(got, w) {
				t.Errorf("%s does not say %q but:\n%s", question, w, got)
			}
		}
	}
	got := strings.Join(b.tabThrough(), "\n")
	for _, w := range []string{"no ring\" has no outline", "step 1 is", "covered by"} {
		if !strings.Contains(got, w) {
			t.Errorf("a walk by keyboard does not say %q but:\n%s", w, got)
		}
	}
}

// tabThrough walks through the page by Tab and answers what was wrong on the way.
func (b *tab) tabThrough() []string {
	b.t.Helper()
	n, err := chromedp.Run(b.ctx, chromedp.Evaluate[int]("look.begin(), look.count()"))
	if err != nil {
		b.t.Fatal(err)
	}
	if n == 0 {
		return []string{"nothing can be reached"}
	}
	b.do(chromedp.KeyEvent(strings.Repeat(kb.Tab, n)))
	return b.asked("look.steps()")
}

// playedDemo plays the demo, once for all that only looks at it.
func playedDemo(t *testing.T) string {
	t.Helper()
	folder := filepath.Join(t.TempDir(), "demo")
	a := app{in: strings.NewReader(""), out: t.Output(), err: t.Output(), now: time.Now}
	if err := a.demo(context.Background(), folder); err != nil {
		t.Fatal(err)
	}
	return folder
}

// place is one page to look at.
type place struct{ name, path string }

// places are all pages of the demo's bench: run 0005 is healthy, 0014 has a finding.
var places = []place{
	{"bench", "/"}, {"runs", "/runs"}, {"runs-asked", "/runs?joint=knee&verdict=good"}, {"run", "/runs/0005"}, {"run-finding", "/runs/0014"},
	{"lost", "/lost"}, {"trend", "/trend"}, {"compare", "/compare"}, {"revisions", "/revisions"}, {"problems", "/problems"}, {"trouble", noRun},
}

// TestPages looks at every page of a bench with a history, and at a report.
func TestPages(t *testing.T) {
	folder := playedDemo(t)
	file := filepath.Join(t.TempDir(), "report.html")
	if code, _, errs := in(t, folder, "report", "0014", "--out", file); code != 0 {
		t.Fatal(errs)
	}
	p := servePage(t, folder, 1)
	all := []place{{"report", "file://" + file}}
	for _, at := range places {
		all = append(all, place{at.name, p.url + at.path})
	}
	t.Run("at every width", func(t *testing.T) { testWidths(t, p, all) })
	t.Run("on paper", func(t *testing.T) {
		needs(t, "pdftotext")
		b := p.tab(t)
		b.open(p.url + "/runs/0014")
		pages := b.paper("served")
		if len(pages) != 2 { // neither a page for the cautions alone, nor torn
			t.Errorf("%d pages", len(pages))
		}
		if first := pages[0].head() + " " + pages[0].body(); strings.Count(first, "fore-left") != 1 {
			t.Errorf("the leg is not named once on page 1: %.300q", first)
		}
		for i, sheet := range pages {
			for _, want := range []string{"Leg fore-left, revision A", "run 0014", fmt.Sprintf("%d of %d", i+1, len(pages))} {
				if !strings.Contains(sheet.head(), want) {
					t.Errorf("page %d: %q lacks %q", i+1, sheet.head(), want)
				}
			}
		}
	})
	t.Run("by keyboard", func(t *testing.T) {
		testKeyboard(t, p, all)
		testKeys(t, p)
	})
	t.Run("as the reader set it", func(t *testing.T) { testReader(t, p, all) })
}

// Narrow and wide, light and dark, folds opened: the console is silent and the rules are kept.
func testWidths(t *testing.T, p *benchPage, all []place) {
	axe, why := axeScript(t)
	script := lookScript(t)
	b := p.tab(t)
	titles := map[string]string{}
	for _, at := range all {
		b.open(at.path)
		b.bring(axe, script)
		complain(t, at.name, b.asked("look.framed()"))
		title, err := chromedp.Run(b.ctx, chromedp.Title())
		if err != nil {
			t.Fatal(err)
		}
		if other := titles[title]; other != "" {
			t.Errorf("%s and %s are both called %q", at.name, other, title)
		}
		titles[title] = at.name
		for _, l := range looks {
			b.do(look(l.width, l.height, l.dark))
			if os.Getenv(shots) != "" {
				b.bring(folds(false))
				b.shot(at.name + "-" + l.name)
			}
			b.bring(folds(true))
			b.rules(at.name+", "+l.name, l.dark, why == "")
		}
	}
	if why != "" {
		t.Skip(why)
	}
}

// rules holds the open page against all rules: nothing scrolls sideways, those of WCAG 2.2 AA, text in drawings too, no
// text is small, and drawings tell in words what they show.
func (b *tab) rules(where string, dark, axe bool) {
	b.t.Helper()
	names := allRules
	if dark {
		names = colourRules
	}
	complain(b.t, where, b.asked("look.wide()"))
	if axe {
		complain(b.t, where, b.asked("look.axeOn("+quoted(names)+")"))
	}
	complain(b.t, where+", text in drawings", b.asked("look.drawnText()"))
	if !dark {
		complain(b.t, where+", sizes", b.asked(smallText))
		complain(b.t, where+", drawings", b.asked("look.untold()"))
	}
}

// Whatever can be used is reached by Tab, in the order of reading, shown as focused and not covered.
func testKeyboard(t *testing.T, p *benchPage, all []place) {
	script := lookScript(t)
	b := p.tab(t)
	for _, l := range looks[:3:3] {
		if l.dark {
			continue
		}
		b.do(look(l.width, l.height, l.dark))
		for _, at := range all {
			b.open(at.path)
			b.bring(script)
			complain(t, at.name+", "+l.name, b.tabThrough())
		}
	}
}

// The reader's font twice as large, a window as narrow as they come, more air between letters, forced colours, and
// less motion.
func testReader(t *testing.T, p *benchPage, all []place) {
	script := lookScript(t)
	b := p.tab(t)
	b.do(look(1280, 2400, false), func(ctx context.Context, t *chromedp.Target) (v chromedp.Void, err error) {
		_, err = cdp.Call(ctx, t, page.SetFontSizes, page.SetFontSizesParams{FontSizes: &page.FontSizes{Standard: 32, Fixed: 26}})
		return v, err
	})
	for _, at := range all {
		b.open(at.path)
		b.bring(script, folds(true))
		complain(t, at.name+", letters twice as large", slices.Concat(b.asked("look.wide()"), b.asked("look.collisions()"), b.asked(smallText)))
		b.must(`getComputedStyle(document.documentElement).fontSize === "32px"`)
		b.picture(at.name+"-large", chromedp.CaptureScreenshot()) // a whole page is taken with letters as they come
	}
	calm := p.tab(t)
	for _, at := range all {
		calm.do(media(), look(320, 640, false)) // the narrowest that must do (WCAG 2.2, 1.4.10)
		calm.open(at.path)
		calm.bring(script, folds(true))
		complain(t, at.name+", 320 px", slices.Concat(calm.asked("look.wide()"), calm.asked("look.collisions()")))
		calm.shot(at.name + "-narrowest")
		calm.do(look(390, 800, false))
		complain(t, at.name+", more air", slices.Concat(calm.asked("look.air()"), calm.asked("look.wide()"), calm.asked("look.collisions()")))
		calm.bring("document.adoptedStyleSheets = []", folds(false))
		for _, tone := range []string{"light", "dark"} {
			calm.do(look(390, 800, false), media("prefers-color-scheme", tone, "forced-colors", "active", "prefers-reduced-motion", "reduce"))
			where := at.name + ", forced colours, " + tone
			complain(t, where, append(calm.asked("look.drawnText()"), calm.asked("look.collisions()")...))
			complain(t, where, calm.asked("look.restless()"))
			calm.shot(at.name + "-forced-" + tone)
		}
	}
}

// media sets features of the reader's surroundings, name and value in turn.
func media(pairs ...string) chromedp.Action[chromedp.Void] {
	return func(ctx context.Context, t *chromedp.Target) (v chromedp.Void, err error) {
		var p emulation.SetEmulatedMediaParams
		for i := 0; i < len(pairs); i += 2 {
			p.Features = append(p.Features, &emulation.MediaFeature{Name: pairs[i], Value: pairs[i+1]})
		}
		_, err = cdp.Call(ctx, t, emulation.SetEmulatedMedia, p)
		return v, err
	}
}
