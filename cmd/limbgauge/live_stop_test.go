//go:build unix

package main

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"limbgauge/cmd/limbgauge/web"
)

// BenchmarkStop is the time from the moment a page asks for the stop to that at which the stand has it,
// with three joints at 1 kHz in real time, five pages that watch and one that never reads. The stand's
// moment is its own time stamp of the move it broke off; its clock is set to that of the host by the
// quickest message on the line, which makes the figures short by what that took. "answered" is when its
// answer was back, which is later than either.
func BenchmarkStop(b *testing.B) {
	b.Run("line=pipe", func(b *testing.B) { stopByRequest(b, byPipe) })
	b.Run("line=pty", func(b *testing.B) { stopByRequest(b, byPTY) })
}

func stopByRequest(b *testing.B, line standLine) {
	bench := serveLive(b, line)
	var pages []*visitor
	for i := range 5 {
		pages = append(pages, visit(b, bench.url, fmt.Sprintf("a-page-that-reads-%d", i)))
	}
	var acted, answered []time.Duration
	for i := 0; b.Loop(); i++ {
		neverReads(b, bench.url, i)
		bench.forget()
		quiet := pages[0].begin(web.Sweep{Joints: []string{"yaw", "hip", "knee"}, Routine: "quick"})
		e := bench.moves(b, 1)
		time.Sleep(rand.N(300 * time.Millisecond)) // wherever the beats of line, hub and disk are
		asked := time.Now()
		if why := pages[1+i%4].post("/stop", nil); why != "" {
			b.Fatal(why)
		}
		if text, _ := pages[0].state("limp"); !strings.Contains(text, "Stopped from a page") {
			b.Fatal(text)
		}
		quiet()
		at, back := e.stopped()
		if at.IsZero() {
			b.Fatal("the stand did not have the stop")
		}
		acted, answered = append(acted, at.Sub(asked)), append(answered, back.Sub(asked))
	}
	spread(b, "stand", acted)
	spread(b, "answered", answered)
	b.ReportMetric(0, "ns/op") // of a whole run, which says nothing
}

// BenchmarkStopKey is the time from the space bar's own time stamp in a real browser to the stand's, with four other
// pages that watch and one that never reads.
func BenchmarkStopKey(b *testing.B) {
	bench := serveLive(b, byPTY)
	p := openBrowser(b)
	for i := range 4 {
		visit(b, bench.url, fmt.Sprintf("a-page-that-reads-%d", i))
	}
	t := p.tab(b)
	t.do(chromedp.Navigate(bench.url+"/?joint=yaw&joint=hip&joint=knee&routine=quick"), says("state", "limp"))
	t.do(chromedp.Evaluate[chromedp.Void](`addEventListener("keydown", (e) => { window.pressed = performance.timeOrigin + e.timeStamp; }, true), 0`))
	var acted, answered []time.Duration
	for i := 0; b.Loop(); i++ {
		neverReads(b, bench.url, i)
		bench.forget()
		t.do(holds(`document.getElementById("agree").disabled === false && document.getElementById("agree").checked === false`))
		t.arms()
		time.Sleep(rand.N(300 * time.Millisecond))
		t.do(chromedp.KeyEvent(" "), says("state", "Stopped from a page."))
		ms, err := chromedp.Run(t.ctx, chromedp.Evaluate[float64]("pressed"))
		if err != nil {
			b.Fatal(err)
		}
		pressed := time.UnixMicro(int64(ms * 1000))
		at, back := bench.ear().stopped()
		if at.IsZero() {
			b.Fatal("the stand did not have the stop")
		}
		acted, answered = append(acted, at.Round(0).Sub(pressed)), append(answered, back.Round(0).Sub(pressed)) // by the wall's clock
	}
	spread(b, "stand", acted)
	spread(b, "answered", answered)
	b.ReportMetric(0, "ns/op")
}

// spread gives the median, the 95th percentile (nearest rank) and the greatest of some times.
func spread(b *testing.B, what string, times []time.Duration) {
	slices.Sort(times)
	at := func(share float64) float64 {
		return times[int(share*float64(len(times)-1)+0.5)].Seconds() * 1000
	}
	for _, m := range []struct {
		name  string
		share float64
	}{{"p50", 0.5}, {"p95", 0.95}, {"max", 1}} {
		b.ReportMetric(at(m.share), what+"-"+m.name+"-ms")
	}
}
