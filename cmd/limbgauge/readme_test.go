package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// Every command line in the README must be one the command takes: the command exists, the flags
// exist, the arguments fit.
func TestReadmeCommands(t *testing.T) {
	data, err := os.ReadFile(filepath.Join(repoRoot(t), "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	checkCommands(t, string(data), 12)
}

// checkCommands looks at every command line of a page, of which there are some at least.
func checkCommands(t *testing.T, page string, least int) {
	t.Helper()
	inline := regexp.MustCompile("`limbgauge ([^`]+)`")
	var lines []string
	for _, l := range strings.Split(page, "\n") {
		if cmd, ok := strings.CutPrefix(strings.TrimPrefix(strings.TrimSpace(l), "$ "), "limbgauge "); ok && strings.HasPrefix(l, "    ") {
			cmd, _, _ = strings.Cut(cmd, "  ") // what follows is a remark
			lines = append(lines, strings.TrimSpace(strings.SplitN(cmd, "#", 2)[0]))
		}
		for _, m := range inline.FindAllStringSubmatch(l, -1) {
			lines = append(lines, m[1])
		}
	}
	if len(lines) < least {
		t.Fatalf("only %d command lines found: the test reads it wrongly", len(lines))
	}
	for _, l := range lines {
		a := &app{out: &bytes.Buffer{}, err: &bytes.Buffer{}}
		cmd, rest, err := a.root().Find(words(l))
		if err != nil {
			t.Errorf("limbgauge %s: %v", l, err)
			continue
		}
		if cmd.Name() == "limbgauge" && len(rest) > 0 && rest[0] != "help" {
			t.Errorf("limbgauge %s: no such command", l)
			continue
		}
		if cmd.Name() == "help" || cmd.Name() == "limbgauge" {
			continue
		}
		if err := cmd.ParseFlags(rest); err != nil {
			t.Errorf("limbgauge %s: %v", l, err)
			continue
		}
		if cmd.Args != nil {
			if err := cmd.Args(cmd, cmd.Flags().Args()); err != nil {
				t.Errorf("limbgauge %s: %v", l, err)
			}
		}
	}
}

// words splits a command line at spaces outside double quotes.
func words(s string) []string {
	var out []string
	for _, m := range regexp.MustCompile(`(?:[^\s"]|"[^"]*")+`).FindAllString(s, -1) {
		out = append(out, strings.ReplaceAll(m, `"`, ""))
	}
	return out
}

// The commands below "Your own bench" work in an empty folder in the order in which they stand, as they are typed: a
// newcomer has no other files. The page is left out, as it only ends by hand, and the virtual stand is not waited for.
func TestReadmeWorksInAnEmptyFolder(t *testing.T) {
	data, err := os.ReadFile(filepath.Join(repoRoot(t), "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, part, _ := strings.Cut(string(data), "\n## Your own bench\n")
	part, _, _ = strings.Cut(part, "\n##")
	t.Chdir(t.TempDir())
	typed := 0
	for _, l := range strings.Split(part, "\n") {
		line, ok := strings.CutPrefix(l, "    limbgauge ")
		if !ok || strings.HasPrefix(line, "serve") {
			continue
		}
		line, _, _ = strings.Cut(line, "#")
		args := words(line)
		if args[0] == "sweep" {
			args = append(args, "--speed", "0")
		}
		var errs bytes.Buffer
		if code := run(t.Context(), args, strings.NewReader("arm\n"), &bytes.Buffer{}, &errs); code != 0 {
			t.Errorf("limbgauge %s: exit code %d: %s", line, code, &errs)
		}
		typed++
	}
	if typed < 10 {
		t.Errorf("only %d commands found: the test reads the page wrongly", typed)
	}
}
