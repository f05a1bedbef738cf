package book

import (
	"context"
	"database/sql"
	"encoding/json"
	"math"

	"limbgauge/analyze/alike"
	"limbgauge/rig"
)

// conditions reads under what each joint of runs was measured, by run and joint. where and args choose
// rows of past.
func conditions(ctx context.Context, q querier, where string, args ...any) (map[string]map[string]alike.Conditions, error) {
	setups := map[string]rig.Joint{} // few, and each of many runs
	out := map[string]map[string]alike.Conditions{}
	_, err := rows(ctx, q, func(rs *sql.Rows) (struct{}, error) {
		var run, joint string
		var body sql.NullString
		var hz, volts, ambient sql.NullFloat64
		c := alike.Conditions{LoadNm: math.NaN()}
		if err := rs.Scan(&run, &joint, &body, &hz, &volts, &ambient, &c.Leg, &c.Routine, &c.Bare); err != nil {
			return struct{}{}, err
		}
		setup, ok := setups[body.String]
		if !ok && body.Valid {
			if err := json.Unmarshal([]byte(body.String), &setup); err != nil {
				return struct{}{}, err
			}
			setups[body.String] = setup
		}
		c.Setup, c.Calibration = setup, setup.Calibration
		c.SampleHz, c.SupplyV, c.AmbientC = fromNull(hz), fromNull(volts), fromNull(ambient)
		if out[run] == nil {
			out[run] = map[string]alike.Conditions{}
		}
		out[run][joint] = c
		return struct{}{}, nil
	}, `SELECT past.run, past.joint, setups.body, sample_hz, supply_v, ambient_c, leg, routine, bare
		FROM past JOIN runs ON runs.id = past.run LEFT JOIN setups ON setups.id = past.setup `+where, args...)
	return out, err
}

// seenBefore reads the conditions of the runs that problems wait to see repeated.
func seenBefore(ctx context.Context, q querier, problems []Problem) (map[jointRun]alike.Conditions, error) {
	out := map[jointRun]alike.Conditions{}
	for _, p := range problems {
		for _, s := range p.Showing {
			key := jointRun{s.Run, p.Joint}
			if _, ok := out[key]; ok {
				continue
			}
			c, err := conditionsOf(ctx, q, s.Run, p.Joint)
			if err != nil {
				return nil, err
			}
			if c != nil {
				out[key] = *c
			}
		}
	}
	return out, nil
}

// conditionsOf reads under what one joint of one run was measured, with the load it saw; nil where the
// book has no such run.
func conditionsOf(ctx context.Context, q querier, run, joint string) (*alike.Conditions, error) {
	all, err := conditions(ctx, q, "WHERE past.joint = ? AND past.run = ?", joint, run)
	if err != nil {
		return nil, err
	}
	c, ok := all[run][joint]
	if !ok {
		return nil, nil
	}
	joints, err := judged(ctx, q, run)
	if err != nil {
		return nil, err
	}
	for _, j := range joints {
		if j.Joint == joint {
			c = seenUnder(c, j)
		}
	}
	return &c, nil
}

// completed adds to an event what the book knows of the run it speaks of.
func completed(ctx context.Context, q querier, e Event) (Event, error) {
	switch e := e.(type) {
	case RunEvent:
		return withConditions(ctx, q, e)
	case NoteEvent:
		list, err := runs(ctx, q, "WHERE id = ?", e.Run)
		if err != nil || len(list) == 0 {
			return e, err
		}
		joints, err := judged(ctx, q, e.Run)
		if err != nil {
			return e, err
		}
		e.Of, err = withConditions(ctx, q, eventOf(list[0], joints))
		return e, err
	}
	return e, nil
}

// withConditions adds to a run's event what its joints were measured under.
func withConditions(ctx context.Context, q querier, e RunEvent) (RunEvent, error) {
	e.Conditions = map[string]alike.Conditions{}
	for _, j := range e.Joints {
		all, err := conditions(ctx, q, "WHERE past.joint = ? AND past.run = ?", j.Joint, e.Run)
		if err != nil {
			return e, err
		}
		if c, ok := all[e.Run][j.Joint]; ok {
			e.Conditions[j.Joint] = c
		}
	}
	return e, nil
}
