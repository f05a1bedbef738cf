package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"limbgauge/rig"
)

// app is what every command shares: where it reads and writes, and which bench it works in.
type app struct {
	in       io.Reader
	lines    *bufio.Reader // of in, once a question was asked
	out, err io.Writer
	device   string // port of the stand, once it was opened or tried
	bench    string // folder of bench.toml, book.db and runs/
	now      func() time.Time
	open     func(path string, baud int) (io.ReadWriteCloser, error) // a serial port; nil: as link/port does
}

// run executes one command line and returns the exit code.
func run(ctx context.Context, args []string, in io.Reader, out, errw io.Writer) int {
	asJSON := slices.ContainsFunc(args, func(s string) bool { return strings.HasPrefix(s, "--json") })
	out, errw = forTerminal(out), forTerminal(errw)
	answer := &counter{to: out}
	if asJSON {
		out = answer
	}
	a := &app{in: in, out: out, err: errw, now: time.Now}
	root := a.root()
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errw)
	cmd, err := root.ExecuteContextC(ctx)
	if asJSON {
		errw = withoutTerminal{errw} // read by a program
	}
	told := troubleOf(err, strings.TrimSpace(strings.TrimPrefix(cmd.CommandPath(), root.Name())), a.sayLink(err))
	printTrouble(errw, told)
	if err != nil && asJSON && answer.bytes == 0 {
		if jsonErr := printJSON(answer, map[string]trouble{"error": told}); jsonErr != nil {
			fmt.Fprintf(errw, "limbgauge: %v\n", jsonErr)
		}
	}
	return told.Code
}

func (a *app) root() *cobra.Command {
	asJSON := false
	root := &cobra.Command{
		Use:   "limbgauge",
		Short: "bench tests for the joints of small legged robots",
		Long: `limbgauge runs the joints of a leg through a routine on a bench stand, records
command, angles, current and voltage, and says how healthy each joint is: where
motion is lost, which part to change, whether a belt is loosening.

A bench is a folder with bench.toml. Without a command, limbgauge says what the
bench in this folder holds.`,
		Example: `  limbgauge demo                 a finished bench to look at, no hardware needed
  limbgauge init                 write a bench.toml to start from
  limbgauge sweep knee           run the knee's assembly routine and judge it
  limbgauge analyze --csv log.csv --bench bench.toml`,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return unknownCommand(cmd, args[0])
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return a.status(cmd.Context(), asJSON) },
	}
	root.PersistentFlags().StringVarP(&a.bench, "bench", "b", ".", "bench folder, or its bench.toml")
	root.Flags().BoolVar(&asJSON, "json", false, "print what the bench holds as JSON")
	root.PersistentPreRunE = func(cmd *cobra.Command, _ []string) error {
		if err := finite(cmd); err != nil {
			return err
		}
		return a.checkFolder(cmd)
	}
	root.SetFlagErrorFunc(flagError)
	root.AddGroup(
		&cobra.Group{ID: "run", Title: "Measure:"},
		&cobra.Group{ID: "judge", Title: "Judge:"},
		&cobra.Group{ID: "keep", Title: "Keep:"},
		&cobra.Group{ID: "learn", Title: "Learn:"},
	)
	root.SetHelpCommandGroupID("learn")
	root.SetCompletionCommandGroupID("learn")
	for _, c := range []struct {
		group string
		cmd   *cobra.Command
	}{
		{"run", a.linkCommand()},
		{"run", a.demoCommand()}, {"run", a.initCommand()}, {"run", a.standCommand()}, {"run", a.calibrateCommand()}, {"run", a.sweepCommand()}, {"run", a.listenCommand()},
		{"run", a.serveCommand()}, {"run", a.endureCommand()},
		{"judge", a.analyzeCommand()}, {"judge", a.reportCommand()}, {"judge", a.trendCommand()}, {"judge", a.compareCommand()}, {"judge", a.problemCommand()}, {"judge", a.budgetCommand()},
		{"keep", a.runsCommand()}, {"keep", a.checkCommand()}, {"keep", a.sealCommand()}, {"keep", a.exportCommand()},
		{"keep", a.revCommand()}, {"keep", a.serviceCommand()}, {"keep", a.rebuildCommand()},
	} {
		c.cmd.GroupID = c.group
		root.AddCommand(c.cmd)
	}
	root.AddCommand(exitCodesTopic())
	for _, c := range root.Commands() {
		if c.HasSubCommands() && !c.Runnable() {
			needsCommand(c)
		}
	}
	setHelp(root, pageOf(a.out))
	completionHelp(root)
	a.complete(root)
	return root
}

// needsCommand makes a word that is none of a command's own commands an error; alone it shows its help.
func needsCommand(c *cobra.Command) {
	c.DisableFlagsInUseLine = true
	c.RunE = func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			return cmd.Help()
		}
		return unknownCommand(cmd, args[0])
	}
}

func unknownCommand(c *cobra.Command, word string) error {
	var known []string
	for _, sub := range c.Commands() {
		if sub.IsAvailableCommand() || sub.IsAdditionalHelpTopicCommand() {
			known = append(known, sub.Name())
		}
	}
	err := fmt.Errorf("unknown command %q for %q", word, c.CommandPath())
	if near := rig.Nearest(word, known); near != "" {
		err = fmt.Errorf("%w; did you mean %s?", err, near)
	}
	return usageError{err}
}

// checkFolder refuses a bench folder that is not there, which is not one without runs. The commands that
// make folders are asked for what they are to make.
func (a *app) checkFolder(cmd *cobra.Command) error {
	makes := cmd.Name() == "init" || cmd.Name() == "demo"
	if makes || !cmd.Flags().Changed("bench") || exists(a.folder()) {
		return nil
	}
	return inputError(fmt.Errorf("--bench %s: there is no folder %s", a.bench, a.folder()), "name the folder that holds bench.toml; \"limbgauge init FOLDER\" makes one")
}

// usageArgs makes a wrong number of arguments a usage error that says which word is missing, or is one too
// many, with the command's own usage line.
func usageArgs(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		err := check(cmd, args)
		if err == nil {
			return nil
		}
		if places := strings.Fields(cmd.Use)[1:]; len(args) < len(places) {
			err = fmt.Errorf("%s is missing", strings.Trim(places[len(args)], "[]."))
		} else {
			err = fmt.Errorf("%q is one word too many", args[len(places)])
		}
		return usageError{fmt.Errorf("%w; usage: %s", err, cmd.UseLine())}
	}
}

// folder returns the bench folder, whether it was named itself or by its bench.toml.
func (a *app) folder() string {
	if filepath.Base(a.bench) == benchFile || filepath.Ext(a.bench) == ".toml" {
		return filepath.Dir(a.bench)
	}
	return a.bench
}

const benchFile = "bench.toml"

// loadBench reads the bench file of the folder, or the file named itself.
func (a *app) loadBench() (*rig.Bench, error) {
	path := a.bench
	if filepath.Ext(path) != ".toml" {
		path = filepath.Join(path, benchFile)
	}
	return rig.LoadBench(path)
}
