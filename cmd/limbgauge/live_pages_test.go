//go:build unix

package main

import (
	"context"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/heapprofiler"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// heap is what a page's script holds after a collection, MB.
func (b *tab) heap() float64 {
	b.t.Helper()
	used, err := chromedp.Run(b.ctx, func(ctx context.Context, t *chromedp.Target) (float64, error) {
		if _, err := cdp.Call(ctx, t, heapprofiler.CollectGarbage, cdp.Empty{}); err != nil {
			return 0, err
		}
		u, err := cdp.Call(ctx, t, runtime.GetHeapUsage, cdp.Empty{})
		if err != nil {
			return 0, err
		}
		return u.UsedSize / 1e6, nil
	})
	if err != nil {
		b.t.Fatal(err)
	}
	return used
}

// Five pages of a real browser under the load of TestLiveLoad, for as long as that is told to last: they are told
// all, draw, hold no more with time, and their consoles are silent.
func TestLivePages(t *testing.T) {
	m := os.Getenv(loadMinutes)
	if m == "" {
		t.Skip(loadMinutes + " says how long")
	}
	minutes, err := strconv.ParseFloat(m, 64)
	if err != nil {
		t.Fatalf("%s=%s: %v", loadMinutes, m, err)
	}
	bench := serveLive(t, byPipe)
	p := openBrowser(t)
	var pages []*tab
	for range 5 {
		b := p.tab(t)
		b.do(counting, chromedp.Navigate(bench.url+"/?joint=yaw&joint=hip&joint=knee&routine=hold"), says("state", "limp"))
		pages = append(pages, b)
	}
	neverReads(t, bench.url, 0)
	pages[0].arms()
	const every = 15 * time.Second
	began := time.Now()
	var last [5]tallied
	for i := 1; time.Since(began) < time.Duration(minutes*float64(time.Minute)); i++ {
		time.Sleep(time.Until(began.Add(time.Duration(i) * every)))
		var told []string
		for k, b := range pages {
			n := b.counted()
			told = append(told, fmt.Sprintf("%.1f/%.1f/%.2f", float64(n.Moved-last[k].Moved)/every.Seconds(), float64(n.Drawn-last[k].Drawn)/every.Seconds(), b.heap()))
			if n.Moved == last[k].Moved || n.Drawn == last[k].Drawn {
				t.Errorf("page %d stands still: %+v", k, n)
			}
			last[k] = n
		}
		t.Logf("after %s, news per s/pictures per s/heap MB: %s", time.Since(began).Round(time.Second), strings.Join(told, "  "))
	}
	pages[4].do(click("#stop"))
	for _, b := range pages {
		b.do(says("state", "Stopped from a page."), says("see", "See run 0001"))
	}
	bench.holdsAll(t, "0001")
}
