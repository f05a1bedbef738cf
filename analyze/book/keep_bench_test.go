package book

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig/record"
)

// folderBench makes a bench of 10,000 judged runs of two joints with 20 measures each, as folders
// on the disk, and its book.
func folderBench(b *testing.B) string {
	b.Helper()
	dir := b.TempDir()
	for n := range benchRuns {
		i := runInfo(fmt.Sprintf("%05d", n+1), day(n), string(rune('A'+n%10)))
		h := folderAnswer(i.Run, i.Revision, n)
		writeRun(b, dir, i, &h)
	}
	book, _, err := OpenBook(b.Context(), dir)
	must(b, err)
	must(b, book.Close())
	return dir
}

func folderAnswer(id, revision string, n int) health.Health {
	var joints []health.Joint
	for _, name := range []string{"hip", "knee"} {
		var ms []health.Measure
		for _, d := range health.Definitions()[:20] {
			ms = append(ms, health.Of(d.Name, health.Total, float64(n%100)/100, 0.05, "method"))
		}
		joints = append(joints, found(name, health.BeltSlack, n%100 == 50, ms...))
	}
	return answer(id, revision, joints...)
}

// What a sweep does once its run is judged: the folder is there, then the book is opened and told.
func BenchmarkKeep10000(b *testing.B) {
	dir := folderBench(b)
	n := benchRuns
	b.ResetTimer()
	for b.Loop() {
		n++
		i := runInfo(fmt.Sprintf("%05d", n), day(n), "C")
		h := folderAnswer(i.Run, "C", n)
		writeRun(b, dir, i, &h)
		keepBoth(b, dir, i)
	}
}

// A run that is analysed again.
func BenchmarkKeepAgain10000(b *testing.B) {
	dir := folderBench(b)
	b.ResetTimer()
	i, n := runInfo("05000", day(4999), "J"), 0
	for b.Loop() {
		n++
		h := folderAnswer(i.Run, i.Revision, n)
		writeRun(b, dir, i, &h)
		keepBoth(b, dir, i)
	}
}

// keepBoth opens the book beside a run folder that changed, and tells it of the run.
func keepBoth(b *testing.B, dir string, i record.Info) {
	book, _, err := OpenBook(b.Context(), dir)
	must(b, err)
	h, _, err := ReadHealth(filepath.Join(dir, "runs", i.Run))
	must(b, err)
	must(b, book.AddRun(b.Context(), i, h))
	must(b, book.Close())
}

// What every command pays before it begins.
func BenchmarkOpenFolders10000(b *testing.B) {
	dir := folderBench(b)
	b.ResetTimer()
	for b.Loop() {
		book, _, err := OpenBook(b.Context(), dir)
		must(b, err)
		must(b, book.Close())
	}
}

// A folder that is no run stays among the others; every command opens the book.
func BenchmarkOpenBesideBroken10000(b *testing.B) {
	dir := folderBench(b)
	must(b, os.Mkdir(filepath.Join(dir, "runs", "99999"), 0o755))
	b.ResetTimer()
	for b.Loop() {
		book, _, err := OpenBook(b.Context(), dir)
		must(b, err)
		must(b, book.Close())
	}
}
