package drive

import "testing"

// BenchmarkFindStalls is a log of 3 min at 250 samples/s.
func BenchmarkFindStalls(b *testing.B) {
	in := jam(2, 180)
	for b.Loop() {
		if _, err := FindStalls(in, DefaultStallRule(oneRating, .27)); err != nil {
			b.Fatal(err)
		}
	}
}
