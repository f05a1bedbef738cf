package book

import (
	"context"
	"database/sql"
	"slices"

	"limbgauge/analyze/health"
)

// Found is the cause that a run names first of a joint.
type Found struct {
	Run      string          `json:"run"`
	Joint    string          `json:"joint"`
	Cause    health.Cause    `json:"cause"`
	Severity health.Severity `json:"severity"`
}

// Found returns what some runs name first of each joint, run by run. A joint without a cause has none.
func (b *Book) Found(ctx context.Context, of []Run) ([]Found, error) {
	return ask(ctx, b, func(q querier) ([]Found, error) { return foundIn(ctx, q, of) })
}

// askedOneByOne is for how many runs the findings are looked up; for more of them all are read.
const askedOneByOne = 100

// foundIn reads the first causes of some runs, of all for nil.
func foundIn(ctx context.Context, q querier, of []Run) ([]Found, error) {
	const first = `SELECT f.run, f.joint, f.cause, f.severity FROM findings f
		WHERE f.place = (SELECT min(place) FROM findings g WHERE g.run = f.run AND g.joint = f.joint)`
	scan := func(rs *sql.Rows) (f Found, err error) {
		err = rs.Scan(&f.Run, &f.Joint, &f.Cause, &f.Severity)
		return f, err
	}
	if of == nil || len(of) > askedOneByOne {
		list, err := rows(ctx, q, scan, first+" ORDER BY f.run, f.place")
		if of != nil {
			in := map[string]bool{}
			for _, r := range of {
				in[r.ID] = true
			}
			list = slices.DeleteFunc(list, func(f Found) bool { return !in[f.Run] })
		}
		return list, err
	}
	var out []Found
	for _, r := range of {
		list, err := rows(ctx, q, scan, first+" AND f.run = ? ORDER BY f.place", r.ID)
		if err != nil {
			return nil, err
		}
		out = append(out, list...)
	}
	return out, nil
}
