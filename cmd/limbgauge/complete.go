package main

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// offer is what the shell may put in a place of a command line.
type offer struct {
	names func(*shelf) []cobra.Completion // with a word on each, behind a tab
	files []string                        // else: names of files with these endings, "" for any
	more  bool                            // the word goes on: no space behind it
	many  bool                            // several words with commas between
}

// argumentOffers says what stands for the words of a command's usage line. What only one command means
// by a word stands behind the command's name.
func argumentOffers() map[string]offer {
	anyFile := offer{files: []string{""}}
	return map[string]offer{
		"joint":       {names: (*shelf).joints},
		"run":         {names: (*shelf).runs},
		"joint/cause": {names: (*shelf).problems},
		"revision":    {names: (*shelf).revisions},
		"routine":     {names: (*shelf).routines},
		"folder":      anyFile,
		"file":        anyFile,

		"calibrate show name":      {names: (*shelf).calibrations},
		"calibrate use name":       {names: (*shelf).calibrations},
		"compare A":                {names: (*shelf).sides, many: true},
		"compare B":                {names: (*shelf).sides, many: true},
		"problem open joint/cause": {names: (*shelf).faultsOfJoints},
		"rev show name":            {names: (*shelf).revisions},
		"rev show other":           {names: (*shelf).revisions},
		"rev diff A":               {names: (*shelf).revisions},
		"rev diff B":               {names: (*shelf).revisions},
		"rev part name":            {names: (*shelf).parts},
	}
}

// flagOffers says what stands behind a flag, in the same way.
func flagOffers() map[string]offer {
	anyFile := offer{files: []string{""}}
	return map[string]offer{
		"answers":     {names: (*shelf).problemsOrNone},
		"assembly":    {names: (*shelf).assemblies},
		"bare":        {names: (*shelf).runsOrNone},
		"bench":       {files: []string{"toml"}},
		"calibration": {names: (*shelf).calibrationsOrNone},
		"check":       {names: (*shelf).routines},
		"despite":     {names: (*shelf).causesAndMeasures},
		"wear":        {names: (*shelf).faults, more: true},
		"csv":         {files: []string{"csv", "csv.gz"}},
		"error":       {names: (*shelf).errors, more: true},
		"fault":       {names: (*shelf).faults, more: true},
		"form":        oneOf("csv", "lines"),
		"joint":       {names: (*shelf).joints},
		"link":        anyFile,
		"margin":      {names: (*shelf).margins, more: true},
		"measure":     {names: (*shelf).measures, many: true},
		"model":       oneOf(string(rig.ModelZero), string(rig.ModelLine), string(rig.ModelCurve), string(rig.ModelWaves)),
		"out":         anyFile,
		"path":        oneOf(string(health.Servo), string(health.Transmission), string(health.Total)),
		"points":      {files: []string{"csv"}},
		"port":        anyFile,
		"revision":    {names: (*shelf).revisions},
		"routine":     {names: (*shelf).routines},
		"run":         {names: (*shelf).runs},
		"state":       oneOf("open", "answered", "cured", "returned"),
		"part":        {names: (*shelf).parts},
		"without":     {names: (*shelf).parts},

		"calibrate from": {names: (*shelf).calibrationsOrNone},
		"rev add from":   {names: (*shelf).revisions},
		"rev add made":   {names: (*shelf).madeOfParts, more: true},
		"rev add part":   {names: (*shelf).filesOfParts, more: true},
		"stand form":     oneOf(rig.FormFrames, rig.FormText),
	}
}

func oneOf(list ...string) offer {
	return offer{names: func(*shelf) []cobra.Completion { return list }}
}

// complete tells every command below root what the shell may offer for its arguments and flags. A command
// needs nothing of its own for it as long as its usage line calls things by the words above.
func (a *app) complete(root *cobra.Command) {
	arguments, flags := argumentOffers(), flagOffers()
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		path := strings.TrimPrefix(strings.TrimPrefix(c.CommandPath(), root.Name()), " ")
		if c.ValidArgsFunction == nil {
			c.ValidArgsFunction = a.offerArguments(lookUp(arguments, path), strings.Fields(c.Use)[1:])
		}
		a.offerFlags(c, lookUp(flags, path))
		for _, sub := range c.Commands() {
			walk(sub)
		}
	}
	walk(root)
}

// lookUp finds the offer of a word for a command: its own, one of a command above it, or that of all.
func lookUp(table map[string]offer, path string) func(word string) (offer, bool) {
	return func(word string) (offer, bool) {
		for p := path; p != ""; {
			if o, ok := table[p+" "+word]; ok {
				return o, true
			}
			p = p[:max(0, strings.LastIndex(p, " "))]
		}
		o, ok := table[word]
		return o, ok
	}
}

// offerArguments completes what a usage line names. A word that no table knows is the user's own.
func (a *app) offerArguments(find func(string) (offer, bool), usage []string) cobra.CompletionFunc {
	var places []offer
	last := false // the last word may be repeated
	for _, w := range usage {
		w = strings.Trim(w, "[]")
		last = strings.HasSuffix(w, "...")
		o, _ := find(strings.TrimSuffix(w, "..."))
		places = append(places, o)
	}
	return func(cmd *cobra.Command, args []string, typed string) ([]cobra.Completion, cobra.ShellCompDirective) {
		i := len(args)
		if last {
			i = min(i, len(places)-1)
		}
		if i >= len(places) || i < 0 {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		list, directive := places[i].complete(a.shelf(cmd), typed)
		return slices.DeleteFunc(list, func(c cobra.Completion) bool { return slices.Contains(args, nameOf(c)) }), directive
	}
}

func (a *app) offerFlags(c *cobra.Command, find func(string) (offer, bool)) {
	for _, f := range ownFlags(c) {
		o, _ := find(f.Name)
		if _, there := c.GetFlagCompletionFunc(f.Name); there || f.Value.Type() == "bool" {
			continue
		}
		err := c.RegisterFlagCompletionFunc(f.Name, func(cmd *cobra.Command, _ []string, typed string) ([]cobra.Completion, cobra.ShellCompDirective) {
			return o.complete(a.shelf(cmd), typed)
		})
		if err != nil {
			panic(err) // the flag is there and has no other: looked up above
		}
	}
}

// complete returns what is offered for a word of which some is typed.
func (o offer) complete(s *shelf, typed string) ([]cobra.Completion, cobra.ShellCompDirective) {
	switch {
	case len(o.files) > 0 && o.files[0] == "":
		return nil, cobra.ShellCompDirectiveDefault
	case len(o.files) > 0:
		return o.files, cobra.ShellCompDirectiveFilterFileExt
	case o.names == nil:
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	defer s.close()
	before := ""
	if i := strings.LastIndex(typed, ","); o.many && i >= 0 {
		before = typed[:i+1]
	}
	s.typed = strings.TrimPrefix(typed, before)
	var out []cobra.Completion
	for _, c := range o.names(s) {
		c = before + c
		if strings.HasPrefix(nameOf(c), typed) && !slices.Contains(strings.Split(before, ","), strings.TrimPrefix(nameOf(c), before)) {
			out = append(out, c)
		}
	}
	directive := cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
	if o.more {
		directive |= cobra.ShellCompDirectiveNoSpace
	}
	return out, directive
}

// nameOf is a completion without the word on it.
func nameOf(c cobra.Completion) string {
	name, _, _ := strings.Cut(c, "\t")
	return name
}

// completionHelp puts the help of the command that prints completion scripts into the words of the others.
func completionHelp(root *cobra.Command) {
	root.InitDefaultCompletionCmd()
	for _, c := range root.Commands() {
		if c.Name() != "completion" {
			continue
		}
		c.Short = "print the script by which a shell completes commands and names"
		c.Long = `Print the script by which a shell completes what is typed: commands and flags, and the
names of joints, routines, runs, revisions, problems, calibrations and measures of the
bench. "limbgauge help completion SHELL" says where its script belongs.`
		c.Example = `  source <(limbgauge completion bash)          until this shell ends
  limbgauge completion zsh > "${fpath[1]}/_limbgauge"
  limbgauge completion fish > ~/.config/fish/completions/limbgauge.fish
  limbgauge completion powershell | Out-String | Invoke-Expression`
		for _, shell := range c.Commands() {
			h := shellHelp()[shell.Name()]
			shell.Short, shell.Long, shell.Example = "the script for "+h.name, h.long, h.example
		}
	}
}

type shellWords struct{ name, long, example string }

func shellHelp() map[string]shellWords {
	return map[string]shellWords{
		"bash": {"bash", `Print the script for bash. It needs the package bash-completion.`,
			`  source <(limbgauge completion bash)          until this shell ends
  limbgauge completion bash >> ~/.bash_completion`},
		"zsh": {"zsh", `Print the script for zsh. Completion must be on: "autoload -U compinit; compinit" in
~/.zshrc does that. Any folder of $fpath is a place for the script.`,
			`  source <(limbgauge completion zsh)           until this shell ends
  limbgauge completion zsh > "${fpath[1]}/_limbgauge"`},
		"fish": {"fish", `Print the script for fish.`,
			`  limbgauge completion fish | source           until this shell ends
  limbgauge completion fish > ~/.config/fish/completions/limbgauge.fish`},
		"powershell": {"PowerShell", `Print the script for PowerShell. To have it in every shell, put the line of the
example into the file that $PROFILE names.`,
			`  limbgauge completion powershell | Out-String | Invoke-Expression`},
	}
}
