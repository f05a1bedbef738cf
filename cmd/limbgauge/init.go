package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"limbgauge/rig"
)

func (a *app) initCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "init [folder]",
		Example: "  limbgauge init\n  limbgauge init left-leg",
		Short:   "write a bench.toml to start from",
		Long: `Write a commented bench.toml for a leg of three joints on the virtual stand. Change
it to what you have: every number in it is yours to state. A file that is there
already is left alone.`,
		Args: usageArgs(cobra.MaximumNArgs(1)),
		RunE: func(_ *cobra.Command, args []string) error {
			dir := a.folder()
			if len(args) == 1 {
				dir = args[0]
			}
			path := filepath.Join(dir, benchFile)
			if err := writeNew(path, []byte(rig.ExampleBench())); err != nil {
				return err
			}
			fmt.Fprintf(a.out, "wrote %s\nnext: state your joints in it, then try \"limbgauge sweep knee\"\n", path)
			return nil
		},
	}
}

// writeNew writes a file that must not be there yet.
func writeNew(path string, data []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return fmt.Errorf("make the folder of %s: %w", path, err)
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return inputError(fmt.Errorf("%s is there already and was left alone", path), "give another folder, or move the file away first")
	}
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	if _, err := f.Write(data); err != nil {
		f.Close()
		return fmt.Errorf("write %s: %w", path, err)
	}
	if err := f.Sync(); err != nil {
		f.Close()
		return fmt.Errorf("write %s: %w", path, err)
	}
	return f.Close()
}
