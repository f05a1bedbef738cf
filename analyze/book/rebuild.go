package book

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"limbgauge/analyze/health"
	"limbgauge/rig/record"
)

// HealthFile is the name of a run's answer in its folder.
const HealthFile = "health.json"

// ReadHealth reads the answer beside a run; ok is false when the run was not judged yet.
func ReadHealth(runDir string) (h health.Health, ok bool, err error) {
	path := filepath.Join(runDir, HealthFile)
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return health.Health{}, false, nil
	}
	if err != nil {
		return health.Health{}, false, fmt.Errorf("read answer: %w", err)
	}
	if err := json.Unmarshal(data, &h); err != nil {
		return health.Health{}, false, fmt.Errorf("%s: %w; \"limbgauge analyze %s\" writes it anew", path, err, filepath.Base(runDir))
	}
	if h.Schema != health.Schema {
		return health.Health{}, false, fmt.Errorf("%s: schema %d is not known; \"limbgauge analyze %s\" writes it anew", path, h.Schema, filepath.Base(runDir))
	}
	return h, true, nil
}

// RunOf turns what a run folder says into a run of the book.
func RunOf(i record.Info) Run {
	r := Run{ID: i.Run, Started: i.Started, Leg: i.Leg, Revision: i.Revision, Routine: i.Routine, Assembly: i.Conditions.Assembly,
		Ended: string(i.End.How), Bare: i.Conditions.BareServo, Setups: setupsOf(i), Whole: i.End.How == record.Complete || i.End.How == record.Imported, Samples: i.Samples(),
		State: i.State}
	if i.End.Reason != "" {
		r.Ended += ": " + i.End.Reason
	}
	for _, j := range i.Joints {
		r.Lost += j.Losses.Lost
	}
	return r
}

// Rebuild makes the book anew from the run folders and history.toml. Runs that cannot be read are
// returned as warnings, and all others are in.
func (b *Book) Rebuild(ctx context.Context) (warnings []error, err error) {
	var o Opened
	err = b.sound(ctx, func(*sql.DB) error {
		o = Opened{}
		return b.rebuild(ctx, &o)
	})
	return o.Warnings, err
}

func (b *Book) rebuild(ctx context.Context, o *Opened) error {
	h, err := ReadHistory(b.dir)
	if err != nil {
		return err
	}
	if h.Torn != nil {
		o.Warnings = append(o.Warnings, h.Torn)
	}
	ids, err := record.IDs(b.dir)
	if err != nil {
		return err
	}
	err = b.writeTo(ctx, b.conn(), func(tx *sql.Tx) error {
		for _, t := range []string{"parts", "revisions", "services", "notes", "findings", "past", "setups", "forms", "runs", "problems"} {
			if _, err := tx.ExecContext(ctx, "DELETE FROM "+t); err != nil {
				return err
			}
		}
		for i, r := range h.Revisions {
			if err := insertRevision(ctx, tx, r, i); err != nil {
				return err
			}
		}
		for _, s := range h.Services {
			if err := insertService(ctx, tx, s); err != nil {
				return err
			}
		}
		for _, n := range h.Notes {
			if err := insertNote(ctx, tx, n); err != nil {
				return err
			}
		}
		if _, err := b.putAll(ctx, newWriter(tx), ids, o); err != nil {
			return err
		}
		return replay(ctx, tx)
	})
	if err != nil {
		return fmt.Errorf("make the book anew: %w", err)
	}
	return nil
}
