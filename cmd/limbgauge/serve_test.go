package main

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"limbgauge/cmd/limbgauge/web"
	"limbgauge/rig"
)

// benchPage is a served bench and a browser to look at it with.
type benchPage struct {
	url     string
	browser context.Context
}

// servePage serves a bench folder on a virtual stand of some speed and opens a browser.
func servePage(t testing.TB, folder string, speed float64) *benchPage {
	t.Helper()
	p := openBrowser(t)
	p.url = serveBench(t, folder, speed)
	return p
}

// serveBench serves a bench folder on a virtual stand of some speed and returns where.
func serveBench(t testing.TB, folder string, speed float64) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	a := app{in: strings.NewReader(""), out: t.Output(), err: t.Output(), bench: folder, now: time.Now}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() {
		done <- web.Serve(ctx, l, web.Options{Desk: &desk{app: a, o: serveOptions{lineOptions: lineOptions{speed: speed, seed: 1}}}, Now: time.Now})
	}()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("serve: %v", err)
		}
	})
	return "http://" + l.Addr().String()
}

// openBrowser opens a browser that looks at nothing yet.
func openBrowser(t testing.TB) *benchPage {
	t.Helper()
	alloc, end := chromedp.NewExecAllocator(context.Background(), chromedp.ExecPath(needs(t, "chromium")), chromedp.Headless, chromedp.NoSandbox, chromedp.NoFirstRun)
	t.Cleanup(end)
	browser, shut := chromedp.NewContext(alloc)
	t.Cleanup(shut)
	if err := chromedp.Do(browser, chromedp.Navigate("about:blank")); err != nil { // the first call starts it
		t.Fatal(err)
	}
	return &benchPage{browser: browser}
}

// tab is one open page.
type tab struct {
	t     testing.TB
	ctx   context.Context
	quiet atomic.Bool // what its console complains of is no failure
}

// noRun is the address of a run that is not there.
const noRun = "/runs/9999"

// tab opens a page; whatever its console complains of fails the test.
func (p *benchPage) tab(t testing.TB) *tab {
	t.Helper()
	ctx, shut := chromedp.NewContext(p.browser)
	t.Cleanup(shut)
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Fatal(err)
	}
	said, b := chromedp.Console(ctx), &tab{t: t, ctx: ctx}
	go func() {
		for m, err := range said {
			if err != nil {
				return // the page is closed
			}
			if strings.HasSuffix(m.URL, noRun) || b.quiet.Load() {
				continue // an answer 404 is what that page is for
			}
			if m.IsException() || m.Type == "error" || m.Type == "warning" {
				t.Errorf("the console says: %s (%s)", m, m.URL)
			}
		}
	}()
	return b
}

func (b *tab) do(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, 40*time.Second)
	defer cancel()
	if err := chromedp.Do(ctx, actions...); err != nil {
		seen, _ := chromedp.Run(b.ctx, chromedp.Evaluate[string]("document.body.innerText"))
		b.t.Fatalf("%v; the page says:\n%.600s", err, seen)
	}
}

func (b *tab) close() {
	b.t.Helper()
	if err := chromedp.Cancel(b.ctx); err != nil {
		b.t.Fatal(err)
	}
}

func click(selector string) chromedp.Action[chromedp.Void] {
	return chromedp.Click(chromedp.CSS(selector), chromedp.NodeEnabled)
}

// holds waits until an expression of the page is true.
func holds(expression string) chromedp.Action[chromedp.Void] {
	return chromedp.Poll[chromedp.Void](expression, chromedp.WithPollingInterval(20*time.Millisecond), chromedp.WithPollingTimeout(30*time.Second))
}

// says waits until an element says what is wanted.
func says(id, want string) chromedp.Action[chromedp.Void] {
	return holds(`document.getElementById("` + id + `").textContent.includes("` + want + `")`)
}

func exampleFolder(t testing.TB) string {
	t.Helper()
	folder := t.TempDir()
	if err := os.WriteFile(filepath.Join(folder, benchFile), []byte(rig.ExampleBench()), 0o644); err != nil {
		t.Fatal(err)
	}
	return folder
}

// A person arms, starts, watches samples come and stops with the button, then with the space bar; the
// runs are kept and say so. Closing the page that armed stops too.
func TestBenchPageMovesAndStops(t *testing.T) {
	p := servePage(t, exampleFolder(t), 1)
	hand, other := p.tab(t), p.tab(t)
	begin := func() {
		t.Helper()
		hand.do(click("#agree"), click("#arm"), says("state", "Armed."), click("#start"),
			holds(`document.getElementById("state").textContent === "Moving knee." && Number(document.getElementById("angle").textContent) < -5 && document.getElementById("lost").textContent === "0"`))
	}
	hand.do(chromedp.Navigate(p.url), says("state", "limp"), click(`input[value="yaw"]`), click(`input[value="knee"]`), click(`input[value="quick"]`))
	begin()
	hand.do(click("#stop"), says("state", "Stopped from a page."), says("see", "See run 0001"))
	begin()
	hand.do(chromedp.KeyEvent(" "), says("state", "Stopped from a page."), says("see", "See run 0002"))
	begin()
	other.do(chromedp.Navigate(p.url), says("state", "Moving knee"))
	hand.close()
	other.do(says("state", "was closed or lost its connection"), says("see", "See run 0003"))
}

// looks are the widths and tones a page is looked at with.
var looks = []struct {
	name          string
	width, height int64
	dark          bool
}{{"phone", 390, 800, false}, {"phone-dark", 390, 800, true}, {"wide", 1280, 900, false}, {"wide-dark", 1280, 900, true}}

// look sets a page's width and tone.
func look(width, height int64, dark bool) chromedp.Action[chromedp.Void] {
	return func(ctx context.Context, t *chromedp.Target) (v chromedp.Void, err error) {
		tone := "light"
		if dark {
			tone = "dark"
		}
		if _, err = cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: tone}}}); err != nil {
			return v, err
		}
		return chromedp.EmulateViewport(width, height)(ctx, t)
	}
}

// shots names a folder in which the pages are kept as pictures, to be looked at.
const shots = "LIMBGAUGE_SHOTS"

func (b *tab) shot(name string) {
	b.t.Helper()
	b.picture(name, chromedp.FullScreenshot(100))
}

// picture keeps a picture taken in some way.
func (b *tab) picture(name string, take chromedp.Action[[]byte]) {
	b.t.Helper()
	dir := os.Getenv(shots)
	if dir == "" {
		return
	}
	png, err := chromedp.Run(b.ctx, take)
	if err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		b.t.Fatal(err)
	}
}
