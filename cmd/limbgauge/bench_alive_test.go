package main

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"limbgauge/cmd/limbgauge/web"
	"limbgauge/rig"
)

// tally counts in a page, before its own script runs, the news of movement that came and the pictures drawn.
const tally = `window.tally = { moved: 0, drawn: 0 };
const listen = EventSource.prototype.addEventListener;
EventSource.prototype.addEventListener = function (kind, f) { return listen.call(this, kind, kind !== "moved" ? f : (e) => { tally.moved++; f(e); }); };
const clear = CanvasRenderingContext2D.prototype.clearRect;
CanvasRenderingContext2D.prototype.clearRect = function (...a) { if (this.canvas.id === "course") tally.drawn++; return clear.apply(this, a); };`

type tallied struct{ Moved, Drawn int }

// counting is to be done before a page is opened.
func counting(ctx context.Context, t *chromedp.Target) (v chromedp.Void, err error) {
	_, err = cdp.Call(ctx, t, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: tally})
	return v, err
}

func (b *tab) counted() tallied {
	b.t.Helper()
	n, err := chromedp.Run(b.ctx, chromedp.Evaluate[tallied]("({Moved: tally.moved, Drawn: tally.drawn})"))
	if err != nil {
		b.t.Fatal(err)
	}
	return n
}

// arms goes from a page that was opened to a knee that moves.
func (b *tab) arms() {
	b.t.Helper()
	b.do(click("#agree"), click("#arm"), says("state", "Armed."), click("#start"), holds(`document.body.dataset.stand === "moving" && Number(document.getElementById("angle").textContent) < -5`))
}

// A page that is frozen, as by a lid that is closed, keeps its stream and says nothing: the stand stops. One that
// is loaded again has gone: it stops, and the new page has armed nothing.
func TestBenchPageAsleepOrReloaded(t *testing.T) {
	p := servePage(t, exampleFolder(t), 1)
	hand, other := p.tab(t), p.tab(t)
	other.do(media("prefers-reduced-motion", "reduce"), counting, chromedp.Navigate(p.url), says("state", "limp"))
	hand.do(chromedp.Navigate(p.url+"/?joint=knee&routine=quick"), says("state", "limp"))
	hand.arms()
	hand.do(func(ctx context.Context, t *chromedp.Target) (v chromedp.Void, err error) {
		_, err = cdp.Call(ctx, t, page.SetWebLifecycleState, page.SetWebLifecycleStateParams{State: page.SetWebLifecycleStateStateFrozen})
		return v, err
	})
	other.do(says("state", "silent for 2 s"), says("see", "See run 0001"))
	if n := other.counted(); n.Drawn == 0 || n.Moved < 20 || n.Drawn*4 > n.Moved {
		t.Errorf("for a reader who wants little to move, of %d news %d pictures were drawn", n.Moved, n.Drawn)
	}
	hand.close()

	hand = p.tab(t)
	hand.do(chromedp.Navigate(p.url+"/?joint=knee&routine=quick"), says("see", "See run 0001"))
	hand.arms()
	hand.do(chromedp.Navigate(p.url + "/?joint=knee&routine=quick"))
	other.do(says("state", "was closed or lost its connection"), says("see", "See run 0002"))
	hand.do(says("state", "was closed or lost its connection"))
	hand.holdsNow("the new page", `document.getElementById("start").checkVisibility() === false && document.getElementById("agree").checked === false`)
}

// sleepy is a page whose clocks do not go, as those of one in the background hardly do, and whose stream and server
// are told by the test.
const sleepy = `window.setInterval = () => 0;
window.clock = 1e6;
performance.now = () => clock;
window.heard = {};
window.EventSource = class {
  constructor(at) { window.mark = at.split("=")[1]; }
  addEventListener(kind, f) { heard[kind] = f; }
};
window.asked = [];
window.fetch = (path) => { asked.push(path); return window.cut ? Promise.reject(new TypeError("cut")) : Promise.resolve({ ok: true, status: 204 }); };
window.hear = (kind, data) => { asked = []; clock += 500; heard[kind]({ data: JSON.stringify(data) }); return asked.join(); };`

// Whatever a page in the background hears of the stand it answers, so that a test does not end between two of its
// runs; and a connection that is cut again while the page finds out who is there is no error of the page.
func TestBenchPageSpeaksWhenItHears(t *testing.T) {
	p := servePage(t, exampleFolder(t), 1)
	b := p.tab(t)
	b.do(func(ctx context.Context, t *chromedp.Target) (v chromedp.Void, err error) {
		_, err = cdp.Call(ctx, t, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: sleepy})
		return v, err
	}, chromedp.Navigate(p.url), holds(`window.heard && heard.moved !== undefined`))
	hears := func(kind, data, want string) {
		t.Helper()
		got, err := chromedp.Run(b.ctx, chromedp.Evaluate[string](`hear("`+kind+`", `+data+`)`))
		if err != nil || got != want {
			t.Errorf("hearing %s %s the page asks for %q, %v; want %q", kind, data, got, err, want)
		}
	}
	hears("beat", `null`, "") // not its own
	hears("state", `{state: "moving", owner: mark, text: "Moving knee.", many: true}`, "/alive")
	hears("said", `"0001  gait 20 cycles"`, "/alive")
	hears("state", `{state: "moving", owner: mark, text: "Between two runs; nothing moves.", many: true}`, "/alive")
	hears("beat", `null`, "/alive")
	hears("moved", `{t: []}`, "/alive")
	b.holdsNow("the words", `document.getElementById("state").textContent === "Between two runs; nothing moves." && document.getElementById("said").textContent === "0001  gait 20 cycles"`)
	b.do(chromedp.Evaluate[chromedp.Void](`window.uncaught = 0; addEventListener("unhandledrejection", () => uncaught++); window.cut = true; 0`))
	hears("error", `null`, "")
	hears("open", `null`, "/alive")
	b.do(chromedp.Sleep(100 * time.Millisecond)) // a rejection is told after its turn
	b.holdsNow("no error", `uncaught === 0`)
	hears("state", `{state: "limp", text: "Ended."}`, "")
	hears("beat", `null`, "")
}

// comes waits until an expression is true, on this page or one that takes its place meanwhile.
func (b *tab) comes(expression string) {
	b.t.Helper()
	for range 1000 {
		if is, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](expression)); err == nil && is {
			return
		}
		time.Sleep(30 * time.Millisecond)
	}
	b.t.Fatalf("%s does not come", expression)
}

// A page that was open when limbgauge serve was started anew belongs to the new one before anybody needs it: its
// stop is taken.
func TestBenchPageOutlivesServe(t *testing.T) {
	p := openBrowser(t)
	folder := exampleFolder(t)
	serve := func(at string) (url string, end func()) {
		t.Helper()
		l, err := net.Listen("tcp", at)
		if err != nil {
			t.Fatal(err)
		}
		a := app{in: strings.NewReader(""), out: t.Output(), err: t.Output(), bench: folder, now: time.Now}
		ctx, cancel := context.WithCancel(context.Background())
		done := make(chan error, 1)
		go func() {
			done <- web.Serve(ctx, l, web.Options{Desk: &desk{app: a, o: serveOptions{lineOptions: lineOptions{speed: 1, seed: 1}}}, Now: time.Now})
		}()
		end = sync.OnceFunc(func() {
			cancel()
			if err := <-done; err != nil {
				t.Errorf("serve: %v", err)
			}
		})
		t.Cleanup(end)
		return l.Addr().String(), end
	}
	at, end := serve("127.0.0.1:0")
	old, hand := p.tab(t), p.tab(t)
	old.quiet.Store(true) // a connection that is refused is told on the console
	hand.quiet.Store(true)
	hand.do(chromedp.Navigate("http://"+at+"/?joint=knee&routine=quick"), says("state", "limp"))
	old.do(chromedp.Navigate("http://"+at), says("state", "limp"), chromedp.Evaluate[chromedp.Void](`window.old = true, 0`))
	hand.do(chromedp.Evaluate[chromedp.Void](`window.old = true, 0`))
	hand.arms()
	end()
	old.do(says("state", "has lost limbgauge"))
	serve(at)
	for _, b := range []*tab{old, hand} { // a new page, of the new start
		b.comes(`document.readyState === "complete" && document.body.dataset.stand === "limp" && document.getElementById("state").textContent === "The stand is limp." && window.old === undefined`)
	}
	hand.arms()
	old.do(says("state", "Moving"), click("#stop"))
	hand.do(says("state", "Stopped from a page."))
}

// From the first key to the last without a pointer: the space bar ticks and presses while nothing moves, and
// stops while something does, whatever has the focus.
func TestBenchPageByKeyboard(t *testing.T) {
	p := servePage(t, exampleFolder(t), 1)
	b := p.tab(t)
	focused := func(is string) chromedp.Action[chromedp.Void] {
		return holds(`document.activeElement.matches("` + is + `")`)
	}
	goTo := func(id string) {
		t.Helper()
		for range 60 {
			b.do(chromedp.KeyEvent(kb.Tab))
			if is, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](`document.activeElement.matches("`+id+`")`)); err != nil || is {
				return
			}
		}
		t.Fatalf("Tab does not lead to %s", id)
	}
	b.do(chromedp.Navigate(p.url+"/?joint=knee&routine=quick"), says("state", "limp"))
	for _, place := range []string{"#stop", "a[href='/runs']", "main"} {
		goTo("#agree")
		b.do(chromedp.KeyEvent(" "), holds(`document.getElementById("agree").checked && !document.getElementById("arm").disabled`))
		goTo("#arm")
		b.do(chromedp.KeyEvent(kb.Enter), says("state", "Armed."), focused("#start"), chromedp.KeyEvent(" "),
			holds(`document.body.dataset.stand === "moving" && Number(document.getElementById("angle").textContent) < -5`), focused("#stop"))
		goTo("a[href='/problems']")
		goTo("#stop") // round again
		b.holdsNow("the stop that has the focus", `getComputedStyle(document.getElementById("stop")).outlineColor !== "rgb(161, 37, 27)"`)
		b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector("`+place+`").focus()`), focused(place))
		b.do(chromedp.KeyEvent(" "), says("state", "Stopped from a page."), holds(`location.pathname === "/"`))
	}
	// Armed and left: by the button that says so, and by Escape.
	for _, key := range []string{kb.Enter, kb.Escape} {
		goTo("#agree")
		b.do(chromedp.KeyEvent(" "))
		goTo("#arm")
		b.do(chromedp.KeyEvent(kb.Enter), says("state", "Armed."), focused("#start"), chromedp.KeyEvent(kb.Tab), focused("#leave"), chromedp.KeyEvent(key), says("state", "Nothing moved."),
			chromedp.Evaluate[chromedp.Void](`document.getElementById("agree").click()`))
	}
}

// Names are what somebody else wrote: none of them is anything but text, on the page or in what it is told.
func TestBenchPageHostileNames(t *testing.T) {
	const evil = `</script><img src=x onerror=document.title=1>"&lt;`
	folder := t.TempDir()
	text := strings.Replace(rig.ExampleBench(), `name = "fore-left"`, `name = '''`+evil+`'''`, 1)
	history := "[[revision]]\nname = '''" + evil + "'''\nmade = 2026-01-01T00:00:00Z\nwhy = '''" + evil + "'''\n"
	for name, text := range map[string]string{benchFile: text, "history.toml": history} {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	p := servePage(t, folder, 1)
	b := p.tab(t)
	b.do(chromedp.Navigate(p.url+"/?joint=knee&routine=quick"), says("state", "limp"))
	b.holdsNow("the revision", `[...document.forms.ask.elements.revision.options].some((o) => o.text.includes("onerror"))`)
	b.do(chromedp.SendKeys(chromedp.CSS("[name=note]"), evil), chromedp.SendKeys(chromedp.CSS("[name=assembly]"), `<b onclick=x>`))
	b.arms()
	b.do(click("#stop"), says("state", "Stopped from a page."))
	for _, path := range []string{"/", "/runs", "/runs/0001", "/revisions"} {
		b.do(chromedp.Navigate(p.url+path), holds(`document.readyState === "complete" && location.pathname === "`+path+`"`), chromedp.Sleep(200*time.Millisecond))
		b.holdsNow(path, `document.title !== "1" && document.querySelector("img, b[onclick]") === null && [...document.scripts].every((s) => s.src.startsWith(location.origin + "/look/"))`)
		if path == "/runs/0001" {
			b.holdsNow("the note is told as it was written", `document.body.innerText.includes("onerror")`)
		}
	}
}
