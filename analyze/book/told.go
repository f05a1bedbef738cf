package book

import (
	"context"
	"database/sql"

	"limbgauge/analyze/health"
)

// Told is a run with what it said, as far as a list needs it: of what was found wrong cause and
// severity, of measures what History has.
type Told struct {
	Run    Run
	Joints []health.Joint
}

// Told returns every run with what it said, oldest first.
func (b *Book) Told(ctx context.Context) ([]Told, error) {
	return ask(ctx, b, func(q querier) ([]Told, error) {
		list, err := runs(ctx, q, "")
		if err != nil {
			return nil, err
		}
		out, at := make([]Told, len(list)), make(map[string]int, len(list))
		for i, r := range list {
			out[i], at[r.ID] = Told{Run: r}, i
		}
		_, err = rows(ctx, q, func(rs *sql.Rows) (struct{}, error) {
			var run, joint string
			var f health.Finding
			if err := rs.Scan(&run, &joint, &f.Cause, &f.Severity); err != nil {
				return struct{}{}, err
			}
			if i, ok := at[run]; ok {
				j := jointOf(&out[i].Joints, joint)
				j.Findings = append(j.Findings, f)
			}
			return struct{}{}, nil
		}, "SELECT run, joint, cause, severity FROM findings ORDER BY run, place")
		if err != nil {
			return nil, err
		}
		joints, err := rows(ctx, q, scanText, "SELECT DISTINCT joint FROM past")
		if err != nil {
			return nil, err
		}
		for _, name := range joints {
			past, err := jointHistory(ctx, q, name, nil, nil)
			if err != nil {
				return nil, err
			}
			for _, p := range past {
				if i, ok := at[p.Run.ID]; ok && len(p.Measures) > 0 {
					jointOf(&out[i].Joints, name).Measures = p.Measures
				}
			}
		}
		return out, nil
	})
}
