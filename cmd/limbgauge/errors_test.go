package main

import (
	"bytes"
	"errors"
	"fmt"
	"testing"
)

// An error that wraps two keeps its own text, which names the file; joined ones get a line each.
func TestPrintErrorKeepsWholeText(t *testing.T) {
	a, b := errors.New("damaged"), errors.New("no footer")
	both := fmt.Errorf("runs/0003/samples.parquet: %w: %w", a, b)
	for want, err := range map[string]error{
		"limbgauge: runs/0003/samples.parquet: damaged: no footer\n":                     both,
		"limbgauge: damaged\nlimbgauge: no footer\n":                                     errors.Join(a, b),
		"limbgauge: damaged\nlimbgauge: runs/0003/samples.parquet: damaged: no footer\n": errors.Join(a, errors.Join(both)),
	} {
		var out bytes.Buffer
		printError(&out, err)
		if out.String() != want {
			t.Errorf("got %q, want %q", out.String(), want)
		}
	}
}
