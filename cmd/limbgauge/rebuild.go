package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"
)

func (a *app) rebuildCommand() *cobra.Command {
	asJSON := false
	cmd := &cobra.Command{
		Use:     "rebuild",
		Example: "  limbgauge rebuild",
		Short:   "make the book anew from the run folders and history.toml",
		Long: `book.db only remembers what stands elsewhere: runs and their answers in runs/,
revisions, services and notes in history.toml. This makes it anew from both, as
after an edit of history.toml by hand.`,
		Args: usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			b, err := a.openBook(cmd.Context())
			if err != nil {
				return err
			}
			defer b.Close()
			warnings, err := b.Rebuild(cmd.Context())
			for _, w := range warnings {
				fmt.Fprintf(a.err, "limbgauge: %v\n", w)
			}
			if err != nil {
				return err
			}
			runs, err := b.Runs(cmd.Context())
			if err != nil {
				return err
			}
			if asJSON {
				said := []string{}
				for _, w := range warnings {
					said = append(said, w.Error())
				}
				if err := printJSON(a.out, map[string]any{"runs": len(runs), "trouble": said}); err != nil {
					return err
				}
			} else {
				fmt.Fprintf(a.out, "the book is made anew: %s\n", count(len(runs), "run"))
			}
			if len(warnings) > 0 {
				return inputError(errors.New("not all could be read; what is named above is not in the book"), "mend it, then rebuild again")
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print what was done as JSON")
	return cmd
}
