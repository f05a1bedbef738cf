package book

import (
	"context"
	"database/sql"
	"encoding/json"
	"strings"

	"limbgauge/analyze/health"
)

const runColumns = "id, started, leg, revision, routine, assembly, ended, whole, samples, lost, judged, bare, setups"

func scanRun(rs *sql.Rows) (r Run, err error) {
	var started string
	if err = rs.Scan(&r.ID, &started, &r.Leg, &r.Revision, &r.Routine, &r.Assembly, &r.Ended, &r.Whole, &r.Samples, &r.Lost, &r.Judged, &r.Bare, &r.Setups); err != nil {
		return r, err
	}
	r.Started, err = parseWhen(started)
	return r, err
}

func runs(ctx context.Context, q querier, where string, args ...any) ([]Run, error) {
	return rows(ctx, q, scanRun, "SELECT "+runColumns+" FROM runs "+where+" ORDER BY number, id", args...)
}

// Runs returns every run in the order of their numbers.
func (b *Book) Runs(ctx context.Context) ([]Run, error) { return runs(ctx, b.db, "") }

// RunsOf returns the runs made with a revision.
func (b *Book) RunsOf(ctx context.Context, revision string) ([]Run, error) {
	return runs(ctx, b.db, "WHERE revision = ?", revision)
}

// RunsWithFile returns the runs made with exactly the file of that hash.
func (b *Book) RunsWithFile(ctx context.Context, sha256 string) ([]Run, error) {
	return runs(ctx, b.db, "WHERE revision IN (SELECT revision FROM parts WHERE sha256 = ?)", sha256)
}

// Run returns one run with its answer; ok is false when the book does not know it.
func (b *Book) Run(ctx context.Context, id string) (r Run, joints []health.Joint, ok bool, err error) {
	list, err := runs(ctx, b.db, "WHERE id = ?", id)
	if err != nil || len(list) == 0 {
		return Run{}, nil, false, err
	}
	joints, err = judged(ctx, b.db, id)
	return list[0], joints, true, err
}

func scanMeasure(rs *sql.Rows, before ...any) (m health.Measure, err error) {
	var value, u, limit sql.NullFloat64
	err = rs.Scan(append(before, &m.Name, &m.Path, &value, &m.Unit, &u, &m.Status, &limit, &m.Verdict, &m.Method, &m.Reason, &m.LimitFrom)...)
	m.Value, m.Uncertainty, m.Limit = fromNull(value), fromNull(u), fromNull(limit)
	return m, err
}

const measureColumns = "name, path, value, unit, uncertainty, status, lim, verdict, method, reason, limit_from"

// judged reads a run's answer back, joints in the order of the answer.
func judged(ctx context.Context, q querier, run string) ([]health.Joint, error) {
	var out []health.Joint
	joint := func(name string) *health.Joint { return jointOf(&out, name) }
	// Findings come first: every joint has one, so they keep the order of the joints.
	_, err := rows(ctx, q, func(rs *sql.Rows) (struct{}, error) {
		var name, evidence, also string
		var f health.Finding
		if err := rs.Scan(&name, &f.Cause, &f.Severity, &f.Confidence, &f.Part, &evidence, &also, &f.Next); err != nil {
			return struct{}{}, err
		}
		if err := json.Unmarshal([]byte(evidence), &f.Evidence); err != nil {
			return struct{}{}, err
		}
		if err := json.Unmarshal([]byte(also), &f.CouldAlsoBe); err != nil {
			return struct{}{}, err
		}
		j := joint(name)
		j.Findings = append(j.Findings, f)
		return struct{}{}, nil
	}, "SELECT joint, cause, severity, confidence, part, evidence, could_also_be, next FROM findings WHERE run = ? ORDER BY place", run)
	if err != nil {
		return nil, err
	}
	_, err = rows(ctx, q, func(rs *sql.Rows) (struct{}, error) {
		var name string
		m, err := scanMeasure(rs, &name)
		if err == nil {
			j := joint(name)
			j.Measures = append(j.Measures, m)
		}
		return struct{}{}, err
	}, "SELECT joint, "+measureColumns+" FROM measures WHERE run = ? ORDER BY place", run)
	return out, err
}

// jointOf returns the joint of that name, a new one where there is none.
func jointOf(list *[]health.Joint, name string) *health.Joint {
	for i := range *list {
		if (*list)[i].Joint == name {
			return &(*list)[i]
		}
	}
	*list = append(*list, health.Joint{Joint: name})
	return &(*list)[len(*list)-1]
}

// shown reads of every run what the life of problems asks for and no more: what was found, and the
// measures that show a cause.
func shown(ctx context.Context, q querier) (map[string][]health.Joint, error) {
	runs := map[string]*[]health.Joint{}
	joint := func(run, name string) *health.Joint {
		list, ok := runs[run]
		if !ok {
			list = &[]health.Joint{}
			runs[run] = list
		}
		return jointOf(list, name)
	}
	_, err := rows(ctx, q, func(rs *sql.Rows) (struct{}, error) {
		var run, name, evidence string
		var f health.Finding
		err := rs.Scan(&run, &name, &f.Cause, &f.Severity, &f.Part, &evidence)
		if err == nil {
			err = json.Unmarshal([]byte(evidence), &f.Evidence)
		}
		j := joint(run, name)
		j.Findings = append(j.Findings, f)
		return struct{}{}, err
	}, "SELECT run, joint, cause, severity, part, evidence FROM findings ORDER BY run, place")
	if err != nil {
		return nil, err
	}
	names := []any{loadTorque}
	for _, list := range shownBy {
		for _, n := range list {
			names = append(names, n)
		}
	}
	_, err = rows(ctx, q, func(rs *sql.Rows) (struct{}, error) {
		var run, name string
		m, err := scanMeasure(rs, &run, &name)
		j := joint(run, name)
		j.Measures = append(j.Measures, m)
		return struct{}{}, err
	}, "SELECT run, joint, "+measureColumns+" FROM measures WHERE name IN (?"+strings.Repeat(", ?", len(names)-1)+") ORDER BY run, place", names...)
	out := make(map[string][]health.Joint, len(runs))
	for run, list := range runs {
		out[run] = *list
	}
	return out, err
}

// Point is one run's value of a measure.
type Point struct {
	Run     Run
	Measure health.Measure
}

// Measured returns a measure of a joint over all runs that judged it, in the order of runs. Runs of
// the bare servo are none of the joint.
func (b *Book) Measured(ctx context.Context, joint, name string, path health.Path) ([]Point, error) {
	return rows(ctx, b.db, func(rs *sql.Rows) (Point, error) {
		var p Point
		var started string
		var err error
		p.Measure, err = scanMeasure(rs, &p.Run.ID, &started, &p.Run.Leg, &p.Run.Revision, &p.Run.Routine, &p.Run.Assembly, &p.Run.Ended,
			&p.Run.Whole, &p.Run.Samples, &p.Run.Lost, &p.Run.Judged, &p.Run.Bare, &p.Run.Setups)
		if err == nil {
			p.Run.Started, err = parseWhen(started)
		}
		return p, err
	}, "SELECT "+runColumns+", "+measureColumns+" FROM measures JOIN runs ON runs.id = measures.run WHERE joint = ? AND name = ? AND path = ? AND NOT bare ORDER BY number, id",
		joint, name, path)
}

func problems(ctx context.Context, q querier) ([]Problem, error) {
	return rows(ctx, q, func(rs *sql.Rows) (p Problem, err error) {
		var body string
		if err = rs.Scan(&body); err == nil {
			err = json.Unmarshal([]byte(body), &p)
		}
		return p, err
	}, "SELECT body FROM problems ORDER BY id")
}

// Problems returns every problem in the order they were opened.
func (b *Book) Problems(ctx context.Context) ([]Problem, error) { return problems(ctx, b.db) }

func revisions(ctx context.Context, q querier) ([]Revision, error) {
	list, err := rows(ctx, q, func(rs *sql.Rows) (r Revision, err error) {
		var made, answers string
		if err = rs.Scan(&r.Name, &r.Parent, &made, &r.Why, &answers); err != nil {
			return r, err
		}
		if r.Answers, err = fromList(answers); err != nil {
			return r, err
		}
		r.Made, err = parseWhen(made)
		return r, err
	}, "SELECT name, parent, made, why, answers FROM revisions ORDER BY place")
	if err != nil {
		return nil, err
	}
	for i := range list {
		list[i].Parts, err = rows(ctx, q, scanPart, "SELECT "+partColumns+" FROM parts WHERE revision = ? ORDER BY place", list[i].Name)
		if err != nil {
			return nil, err
		}
	}
	return list, nil
}

// Revisions returns every revision in the order they were added.
func (b *Book) Revisions(ctx context.Context) ([]Revision, error) { return revisions(ctx, b.db) }

func services(ctx context.Context, q querier) ([]Service, error) {
	return rows(ctx, q, func(rs *sql.Rows) (s Service, err error) {
		var at, answers string
		if err = rs.Scan(&s.ID, &at, &s.What, &s.Joint, &s.Part, &answers, &s.Replaced); err != nil {
			return s, err
		}
		if s.Answers, err = fromList(answers); err != nil {
			return s, err
		}
		s.When, err = parseWhen(at)
		return s, err
	}, "SELECT id, at, what, joint, part, answers, replaced FROM services ORDER BY id")
}

// Services returns every service in the order they were added.
func (b *Book) Services(ctx context.Context) ([]Service, error) { return services(ctx, b.db) }

func notes(ctx context.Context, q querier) ([]Note, error) {
	return rows(ctx, q, func(rs *sql.Rows) (n Note, err error) {
		var at string
		if err = rs.Scan(&at, &n.Joint, &n.Cause, &n.State, &n.Part, &n.Path, &n.Run, &n.Text); err != nil {
			return n, err
		}
		n.When, err = parseWhen(at)
		return n, err
	}, "SELECT at, joint, cause, state, part, path, run, text FROM notes ORDER BY id")
}
