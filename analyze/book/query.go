package book

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"

	"limbgauge/analyze/health"
	"limbgauge/rig/record"
)

func runScanner() func(rs *sql.Rows) (Run, error) {
	texts := interned{}
	return func(rs *sql.Rows) (Run, error) {
		var body sql.RawBytes
		if err := rs.Scan(&body); err != nil {
			return Run{}, err
		}
		return unpackRun(body, texts)
	}
}

// compare orders runs by time, and those of one time by name.
func (r *Run) compare(o *Run) int {
	if c := r.Started.Compare(o.Started); c != 0 {
		return c
	}
	if c := cmp.Compare(numberOf(r.ID), numberOf(o.ID)); c != 0 {
		return c
	}
	return cmp.Compare(r.ID, o.ID)
}

func runs(ctx context.Context, q querier, where string, args ...any) ([]Run, error) {
	return rows(ctx, q, runScanner(), "SELECT body FROM runs "+where+" ORDER BY number, id", args...)
}

// Runs returns every run in the order of their numbers.
func (b *Book) Runs(ctx context.Context) ([]Run, error) { return b.runs(ctx, "") }

// RunsOf returns the runs made with a revision.
func (b *Book) RunsOf(ctx context.Context, revision string) ([]Run, error) {
	return b.runs(ctx, "WHERE revision = ?", revision)
}

// RunsWithFile returns the runs made with exactly the file of that hash.
func (b *Book) RunsWithFile(ctx context.Context, sha256 string) ([]Run, error) {
	return b.runs(ctx, "WHERE revision IN (SELECT revision FROM parts WHERE sha256 = ?)", sha256)
}

// Newest returns the newest runs in the order of their numbers, and how many there are in all: of a
// revision, of every one where it is "". At most 0 means all.
func (b *Book) Newest(ctx context.Context, most int, revision string) (list []Run, all int, err error) {
	where, args := "", []any{}
	if revision != "" {
		where, args = "WHERE revision = ?", append(args, revision)
	}
	list, err = ask(ctx, b, func(q querier) ([]Run, error) {
		if err := q.QueryRowContext(ctx, "SELECT count(*) FROM runs "+where, args...).Scan(&all); err != nil {
			return nil, fmt.Errorf("read the book: %w", err)
		}
		wanted := all
		if most > 0 {
			wanted = min(most, all)
		}
		return rows(ctx, q, runScanner(), "SELECT body FROM (SELECT * FROM runs "+where+" ORDER BY number DESC, id DESC LIMIT ?) ORDER BY number, id", append(args, wanted)...)
	})
	return list, all, err
}

func (b *Book) runs(ctx context.Context, where string, args ...any) ([]Run, error) {
	return ask(ctx, b, func(q querier) ([]Run, error) { return runs(ctx, q, where, args...) })
}

// Joints returns the names of all joints that were run with a revision, of all revisions where it is
// "", in the order of their first runs.
func (b *Book) Joints(ctx context.Context, revision string) ([]string, error) {
	return ask(ctx, b, func(q querier) ([]string, error) {
		return rows(ctx, q, scanText, `SELECT joint FROM (SELECT joint, min(number) AS first, min(place) AS place FROM past JOIN runs ON runs.id = past.run
			WHERE ? IN ('', revision) GROUP BY joint) ORDER BY first, place, joint`, revision)
	})
}

// Run returns one run with its answer, which is read from its folder; ok is false when the book does
// not know the run.
func (b *Book) Run(ctx context.Context, id string) (r Run, joints []health.Joint, ok bool, err error) {
	list, err := b.runs(ctx, "WHERE id = ?", id)
	if err != nil || len(list) == 0 {
		return Run{}, nil, false, err
	}
	if list[0].Judged {
		joints, err = b.answer(id)
	}
	return list[0], joints, true, err
}

// answer reads what a run answered from its folder.
func (b *Book) answer(run string) ([]health.Joint, error) {
	h, _, err := ReadHealth(record.RunDir(b.dir, run))
	return h.Joints, err
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

// Problems returns every problem in the order they were opened.
func (b *Book) Problems(ctx context.Context) ([]Problem, error) {
	return ask(ctx, b, func(q querier) ([]Problem, error) { return problems(ctx, q) })
}

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
func (b *Book) Revisions(ctx context.Context) ([]Revision, error) {
	return ask(ctx, b, func(q querier) ([]Revision, error) { return revisions(ctx, q) })
}

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
func (b *Book) Services(ctx context.Context) ([]Service, error) {
	return ask(ctx, b, func(q querier) ([]Service, error) { return services(ctx, q) })
}

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
