package record

import (
	"io"
	"os"
	"path/filepath"
	"testing"
)

// Each benchmark reports samples per second; one sample is one reading of one joint.

const benchSamples = 45000 // three minutes at 250 Hz

func perSecond(b *testing.B, n int) {
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "samples/s")
}

func BenchmarkJournalWrite(b *testing.B) {
	batch := motion(0, benchSamples, 1)
	r, err := Create(b.TempDir(), infoOf("knee"))
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if err := r.Append(batch); err != nil {
			b.Fatal(err)
		}
	}
	perSecond(b, benchSamples)
	if err := r.Close(End{How: Complete}, nil); err != nil {
		b.Fatal(err)
	}
}

func BenchmarkJournalRead(b *testing.B) {
	dir := recordRun(b, b.TempDir(), infoOf("knee"), motion(0, benchSamples, 1))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := readJournal(osDisk{}, filepath.Join(dir, journalName), []string{"knee"}); err != nil {
			b.Fatal(err)
		}
	}
	perSecond(b, benchSamples)
	size(b, filepath.Join(dir, journalName))
}

// BenchmarkSeal reads the journal, writes the sealed file, reads it back and compares.
func BenchmarkSeal(b *testing.B) {
	dir := recordRun(b, b.TempDir(), infoOf("knee"), motion(0, benchSamples, 1))
	path := filepath.Join(dir, journalName)
	journal, err := os.ReadFile(path)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Seal(dir); err != nil {
			b.Fatal(err)
		}
		b.StopTimer()
		if err := os.WriteFile(path, journal, 0o644); err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
	}
	perSecond(b, benchSamples)
}

func BenchmarkSealedRead(b *testing.B) {
	dir := recordRun(b, b.TempDir(), infoOf("knee"), motion(0, benchSamples, 1))
	if _, err := Seal(dir); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		r, err := Open(dir)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := r.Series("knee"); err != nil {
			b.Fatal(err)
		}
	}
	perSecond(b, benchSamples)
	size(b, filepath.Join(dir, sealedName))
}

func size(b *testing.B, path string) {
	st, err := os.Stat(path)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(float64(st.Size())/benchSamples, "B/sample")
}

func BenchmarkCSVRead(b *testing.B) {
	path := filepath.Join(shared(b, "caselogs"), "case001", "log.csv.gz")
	n := 0
	b.ReportAllocs()
	for b.Loop() {
		s, err := ReadCSV(path, CSVOptions{})
		if err != nil {
			b.Fatal(err)
		}
		n = s[0].Len()
	}
	perSecond(b, n)
}

func BenchmarkCSVWrite(b *testing.B) {
	batch := motion(0, benchSamples, 1)
	r := &Run{Info: infoOf("knee")}
	r.batches = append(r.batches, batch)
	b.ReportAllocs()
	for b.Loop() {
		if err := r.WriteCSV(io.Discard); err != nil {
			b.Fatal(err)
		}
	}
	perSecond(b, benchSamples)
}
