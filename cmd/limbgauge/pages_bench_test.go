//go:build linux

package main

import (
	"io"
	"net/http"
	"testing"

	"github.com/chromedp/chromedp"

	"limbgauge/analyze/book/booktest"
)

// manyRuns is how many runs the pages are to be quick with.
const manyRuns = 1000

// BenchmarkPages1000 opens every page of a bench of 1,000 runs of three joints and two more that were really
// recorded, one of a joint for a minute and one of three joints for nine: what the server takes until its answer is read whole, and what Chromium takes from the click to the load
// event (load-ms). "first" is the first page of a server that has just started, with a book that is there.
func BenchmarkPages1000(b *testing.B) {
	dir := b.TempDir()
	booktest.MakeIn(b, dir, manyRuns)
	for _, args := range [][]string{{"knee", "--routine", "check"}, {"yaw", "hip", "knee", "--routine", "assembly"}} {
		if code, _, errs := in(b, dir, append([]string{"sweep", "--yes", "--speed", "0"}, args...)...); code != 0 {
			b.Fatal(errs)
		}
	}
	paths := []struct{ name, path string }{
		{"bench", "/"}, {"runs", "/runs"}, {"runs-asked", "/runs?joint=knee&verdict=repair"}, {"run", "/runs/1001"}, {"run-of-three", "/runs/1002"}, {"lost", "/lost"},
		{"trend", "/trend"}, {"compare", "/compare"}, {"revisions", "/revisions"}, {"problems", "/problems"},
	}
	get := func(b *testing.B, url string) int64 {
		b.Helper()
		res, err := http.Get(url)
		if err != nil {
			b.Fatal(err)
		}
		defer res.Body.Close()
		n, err := io.Copy(io.Discard, res.Body)
		if err != nil || res.StatusCode != http.StatusOK {
			b.Fatalf("%s: %s, %v", url, res.Status, err)
		}
		return n
	}
	b.Run("first", func(b *testing.B) {
		for b.Loop() {
			b.StopTimer()
			url := serveBench(b, dir, 1)
			b.StartTimer()
			get(b, url+"/runs")
		}
	})
	url := serveBench(b, dir, 1)
	for _, at := range paths {
		b.Run("server/"+at.name, func(b *testing.B) {
			begin, bytes := cpuSeconds(b), int64(0)
			for b.Loop() {
				bytes = get(b, url+at.path)
			}
			b.ReportMetric(float64(bytes)/1024, "KiB")
			b.ReportMetric(1000*(cpuSeconds(b)-begin)/float64(b.N), "cpu-ms/op")
		})
	}
	t := openBrowser(b).tab(b)
	for _, at := range paths {
		b.Run("load/"+at.name, func(b *testing.B) {
			sum := 0.0
			for b.Loop() {
				t.open(url + at.path)
				t.arrives(`performance.getEntriesByType("navigation")[0].loadEventEnd > 0`)
				took, err := chromedp.Run(t.ctx, chromedp.Evaluate[float64](`performance.getEntriesByType("navigation")[0].loadEventEnd`))
				if err != nil {
					b.Fatal(err)
				}
				sum += took
			}
			b.ReportMetric(sum/float64(b.N), "load-ms")
		})
	}
}
