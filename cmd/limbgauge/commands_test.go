package main

import (
	"bytes"
	"context"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"
)

// everyCommand calls f with each command that a user can ask for, by its path behind "limbgauge".
func everyCommand(f func(path string, c *cobra.Command)) {
	a := &app{out: &bytes.Buffer{}, err: &bytes.Buffer{}}
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		f(strings.TrimSpace(strings.TrimPrefix(c.CommandPath(), "limbgauge")), c)
		for _, sub := range c.Commands() {
			if !sub.Hidden && sub.Name() != "help" {
				walk(sub)
			}
		}
	}
	walk(a.root())
}

// Every command's help has an example and fits the page.
func TestHelp(t *testing.T) {
	everyCommand(func(path string, c *cobra.Command) {
		if (c.Runnable() || c.HasSubCommands()) && strings.TrimSpace(c.Example) == "" {
			t.Errorf("limbgauge %s: the help has no example", path)
		}
		for l := range strings.Lines(c.Example) { // broken lines can not be copied
			if n := cells(strings.TrimRight(l, "\n")); n > pageWidth {
				t.Errorf("limbgauge %s: an example has %d cells: %s", path, n, l)
			}
		}
		var out, errs bytes.Buffer
		if code := run(context.Background(), append([]string{"help"}, strings.Fields(path)...), strings.NewReader(""), &out, &errs); code != 0 {
			t.Errorf("limbgauge help %s: exit code %d: %s", path, code, errs.String())
		}
		for l := range strings.Lines(out.String()) {
			if n := cells(strings.TrimRight(l, "\n")); n > pageWidth {
				t.Errorf("limbgauge help %s: %d cells: %s", path, n, l)
			}
		}
	})
}

// What a command answers can be had as JSON. Those without only do something, and say that they did.
func TestEveryAnswerHasJSON(t *testing.T) {
	acts := []string{"demo", "init", "stand", "serve", "calibrate", "calibrate use", "export", "problem", "rev", "service"} // the last three only show their help
	everyCommand(func(path string, c *cobra.Command) {
		_, step, _ := strings.Cut(path, "calibrate ")
		measures := step != "" && step != "list" && step != "show" // a step of a calibration makes a file
		if !c.Runnable() || strings.HasPrefix(path, "completion") || slices.Contains(acts, path) || measures {
			return
		}
		if c.Flags().Lookup("json") == nil {
			t.Errorf("limbgauge %s has no --json", path)
		}
	})
}
