package book

import (
	"context"
	"database/sql"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
)

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
	c, _, err := seenIn(ctx, q, run, joint, loadTorque)
	return c, err
}

// seenIn is conditionsOf with the measures named.
func seenIn(ctx context.Context, q querier, run, joint string, want ...string) (c *alike.Conditions, measures []health.Measure, err error) {
	setups, err := readSetups(ctx, q)
	if err != nil {
		return nil, nil, err
	}
	forms, err := readForms(ctx, q, append([]string{loadTorque}, want...))
	if err != nil {
		return nil, nil, err
	}
	_, err = rows(ctx, q, func(rs *sql.Rows) (struct{}, error) {
		var row, body sql.RawBytes
		if err := rs.Scan(&row, &body); err != nil {
			return struct{}{}, err
		}
		texts := interned{}
		r, err := unpackRun(row, texts)
		if err != nil {
			return struct{}{}, err
		}
		u := unpacker{rest: body, texts: texts}
		under := unpackCircumstances(&u).of(r, setups)
		measures = forms.measures(&u, nil)
		under = seenUnder(under, health.Joint{Measures: measures})
		c = &under
		return struct{}{}, u.err
	}, "SELECT runs.body, past.body FROM past JOIN runs ON runs.id = past.run WHERE past.joint = ? AND past.run = ?", joint, run)
	return c, measures, err
}

// completed adds to an event what the book knows of the run it speaks of.
func completed(ctx context.Context, q querier, e Event) (Event, error) {
	switch e := e.(type) {
	case RunEvent:
		return withConditions(ctx, q, e)
	case NoteEvent:
		if e.Run == "" {
			return e, nil
		}
		told, err := toldByRuns(ctx, q, e.Run)
		if err == nil && len(told) > 0 {
			e.Of = told[0]
		}
		return e, err
	}
	return e, nil
}

// withConditions adds to a run's event what its joints were measured under.
func withConditions(ctx context.Context, q querier, e RunEvent) (RunEvent, error) {
	e.Conditions = map[string]alike.Conditions{}
	for _, j := range e.Joints {
		c, err := conditionsOf(ctx, q, e.Run, j.Joint)
		if err != nil {
			return e, err
		}
		if c != nil {
			e.Conditions[j.Joint] = *c
		}
	}
	return e, nil
}
