//go:build linux

package main

import (
	"bytes"
	"strings"
	"testing"

	"limbgauge/analyze/book"
	"limbgauge/analyze/book/booktest"
)

// BenchmarkCommands10000 runs whole commands on a bench of 10,000 runs of three joints: the book is
// opened and catches up, is asked, and the answer is computed and printed. LIMBGAUGE_BOOK_BENCH_DIR
// keeps the bench.
func BenchmarkCommands10000(b *testing.B) {
	dir := booktest.Make(b, booktest.Runs)
	bk, _, err := book.OpenBook(b.Context(), dir)
	if err != nil {
		b.Fatal(err)
	}
	if err := bk.Close(); err != nil {
		b.Fatal(err)
	}
	for _, line := range []string{
		"", "runs", "runs --joint knee", "runs --all", "compare A B", "compare A B --joint knee", "trend knee", "problem list", "rev list", "service list",
	} {
		name := line
		if name == "" {
			name = "status"
		}
		b.Run(name, func(b *testing.B) {
			begin := cpuSeconds(b)
			for b.Loop() {
				var out, errs bytes.Buffer
				if code := run(b.Context(), append([]string{"--bench", dir}, strings.Fields(line)...), strings.NewReader(""), &out, &errs); code != 0 {
					b.Fatalf("exit code %d: %s", code, errs.String())
				}
				if out.Len() == 0 {
					b.Fatal("no answer")
				}
			}
			b.ReportMetric(1000*(cpuSeconds(b)-begin)/float64(b.N), "cpu-ms/op") // a busy machine disturbs it less
		})
	}
}
