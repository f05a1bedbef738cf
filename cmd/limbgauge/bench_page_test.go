package main

import (
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// holdsNow fails the test where an expression of the page is not true now.
func (b *tab) holdsNow(what, expression string) {
	b.t.Helper()
	is, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](expression))
	if err != nil {
		b.t.Fatal(err)
	}
	if !is {
		b.t.Errorf("%s: %s does not hold", what, expression)
	}
}

const stopInReach = `(() => { const r = document.getElementById("stop").getBoundingClientRect(), x = document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2);
		return r.top >= 0 && r.bottom <= innerHeight && r.height >= 80 && x.closest("#stop") !== null; })()`

// Before, while and after it moves, narrow and wide, light and dark: nothing stands out to the side, the
// rules of WCAG 2.2 AA are kept, and the stop stays in reach wherever the page is scrolled to.
func TestBenchPageAtEveryWidth(t *testing.T) {
	axe, why := axeScript(t)
	p := servePage(t, exampleFolder(t), 1)
	b := p.tab(t)
	b.do(chromedp.Navigate(p.url), says("state", "limp"), click(`input[value="knee"]`), click(`input[value="quick"]`))
	b.bring(axe, lookScript(t))
	every := func(name string, see func(what string)) {
		t.Helper()
		for _, l := range looks {
			b.do(look(l.width, l.height, l.dark), chromedp.Sleep(150*time.Millisecond))
			where := name + ", " + l.name
			b.rules(where, l.dark, why == "")
			see(where)
			b.shot("bench-" + name + "-" + l.name)
		}
	}
	nothing := func(string) {}
	every("limp", nothing)
	b.do(click("#agree"), click("#arm"), says("state", "Armed."))
	every("armed", nothing)
	b.do(click("#start"), says("state", "Moving yaw, then knee."), holds(`Number(document.getElementById("angle").textContent) < -5`), chromedp.Sleep(2*time.Second))
	every("moving", func(what string) {
		for _, y := range []string{"0", "document.scrollingElement.scrollHeight"} {
			b.do(chromedp.Evaluate[chromedp.Void]("scrollTo(0, " + y + ")"))
			b.holdsNow(what+" scrolled to "+y, stopInReach)
		}
		b.do(chromedp.Evaluate[chromedp.Void]("scrollTo(0, 0)"))
	})
	b.holdsNow("the course has words", `/asked -?\d+\.\d deg, reached -?\d+\.\d deg; in the last 20 s, between/.test(document.getElementById("course").ariaLabel)`)
	b.do(click("#stop"), says("see", "See run 0001"))
	every("stopped", nothing)
	if why != "" {
		t.Skip(why)
	}
}
