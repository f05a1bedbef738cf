package main

import (
	"fmt"
	"strconv"
	"strings"

	"limbgauge/analyze/book"
)

// nextAssembly returns the next free tag of a revision's assemblies, REVISION-NUMBER; numbers that a
// builder gave out by hand in the same form count.
func nextAssembly(runs []book.Run, revision string) string {
	prefix := revision
	if prefix == "" {
		prefix = "assembly"
	}
	last := 0
	for _, r := range runs {
		number, ok := strings.CutPrefix(r.Assembly, prefix+"-")
		if n, err := strconv.Atoi(number); ok && err == nil {
			last = max(last, n)
		}
	}
	return fmt.Sprintf("%s-%d", prefix, last+1)
}
