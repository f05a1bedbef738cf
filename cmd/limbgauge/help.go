package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
)

// helpOf puts a command's help on the page: paragraphs are set anew, lines that are indented keep their
// columns and break below the last of them.
func helpOf(c *cobra.Command, width int) string {
	text := c.Long
	if text == "" {
		text = c.Short
	}
	var b strings.Builder
	b.WriteString(reflow(strings.TrimSpace(text), width))
	if c.Runnable() || c.HasSubCommands() {
		b.WriteString("\n")
		for l := range strings.Lines(c.UsageString()) {
			b.WriteString(fold(strings.TrimRight(l, "\n"), width))
		}
	}
	return b.String()
}

// reflow sets paragraphs to a width. A line that begins with a space is no part of a paragraph.
func reflow(text string, width int) string {
	var b strings.Builder
	var words []string
	flush := func() {
		if len(words) > 0 {
			b.WriteString(hang(strings.Join(words, " "), "", "", width))
			words = nil
		}
	}
	for l := range strings.Lines(text) {
		l = strings.TrimRight(l, " \n")
		if l == "" || strings.HasPrefix(l, " ") {
			flush()
			b.WriteString(fold(l, width))
			continue
		}
		words = append(words, strings.Fields(l)...)
	}
	flush()
	return b.String()
}

// fold breaks a line that is too wide; what follows stands below its last column.
func fold(line string, width int) string {
	if cells(line) <= width {
		return line + "\n"
	}
	text := strings.TrimLeft(line, " ")
	at := len(line) - len(text)
	if i := strings.LastIndex(line, "  "); i >= at && cells(line[:i+2]) < width/2 {
		at = i + 2
	}
	under := strings.Repeat(" ", min(cells(line[:at]), width/2))
	return hang(line[at:], line[:at], under, width)
}

// hang breaks a text at spaces, with something before the first and before all other lines.
func hang(text, first, others string, width int) string {
	var b strings.Builder
	line := first
	fresh := true
	for _, word := range strings.Fields(text) {
		if !fresh && cells(line)+1+cells(word) > width {
			b.WriteString(line + "\n")
			line, fresh = others, true
		}
		if !fresh {
			line += " "
		}
		line, fresh = line+word, false
	}
	b.WriteString(line + "\n")
	return b.String()
}

// typed writes a command that is to be typed behind some words, below them where there is no room, and
// broken before its flags, as a shell takes it, where it is wider than the page.
func typed(p pageForm, before, command, indent string) string {
	if cells(before)+cells(command) <= p.width && before != "" {
		return before + command + "\n"
	}
	var b strings.Builder
	if before != "" {
		b.WriteString(strings.TrimRight(before, " ") + "\n")
	}
	line := indent
	for i, piece := range strings.Split(command, " --") {
		if i > 0 {
			piece = "--" + piece
			if cells(line)+cells(piece)+3 > p.width {
				b.WriteString(line + " \\\n")
				line = indent + "  "
			} else {
				line += " "
			}
		}
		line += piece
	}
	return b.String() + line + "\n"
}

// helpAbout prints the help of the command that some words name.
func helpAbout(root *cobra.Command, words []string) error {
	at := root
	for _, word := range words {
		i := slices.IndexFunc(at.Commands(), func(c *cobra.Command) bool { return c.Name() == word || c.HasAlias(word) })
		if i < 0 {
			return unknownCommand(at, word)
		}
		at = at.Commands()[i]
	}
	at.InitDefaultHelpFlag()
	return at.Help()
}

// setHelp makes help fit the page.
func setHelp(root *cobra.Command, out pageForm) {
	usage := root.UsageTemplate()
	for _, flags := range []string{"LocalFlags", "InheritedFlags"} {
		usage = strings.ReplaceAll(usage, "."+flags+".FlagUsages ", fmt.Sprintf(".%s.FlagUsagesWrapped %d ", flags, out.width))
	}
	usage = strings.ReplaceAll(usage, "{{rpad .CommandPath .CommandPathPadding}} {{.Short}}", root.Name()+" help {{rpad .Name .NamePadding}} {{.Short}}")
	root.SetUsageTemplate(usage)
	root.InitDefaultHelpCmd()
	for _, c := range root.Commands() {
		if c.Name() == "help" {
			c.Short, c.Long = "explain a command", "Explain a command: what it does, examples, flags. Without one, list them all."
			c.Run = nil
			c.RunE = func(_ *cobra.Command, words []string) error { return helpAbout(root, words) }
			c.Example = "  limbgauge help sweep\n  limbgauge help rev add\n  limbgauge help exit-codes"
		}
	}
	root.SetHelpFunc(func(c *cobra.Command, _ []string) { fmt.Fprint(c.OutOrStdout(), helpOf(c, out.width)) })
}
