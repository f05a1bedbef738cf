package book

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"slices"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
)

// loadLife reads the problems as they stand.
func loadLife(ctx context.Context, q querier) (Life, error) {
	l := Life{designs: map[string]design{}}
	var err error
	if l.Problems, err = problems(ctx, q); err != nil {
		return l, err
	}
	revs, err := revisions(ctx, q)
	if err != nil {
		return l, err
	}
	for _, r := range revs {
		l.designs[r.Name] = design{r.Parent, r.Made}
	}
	l.seen, err = seenBefore(ctx, q, l.Problems)
	return l, err
}

// replay follows the whole story anew from what the book holds.
func replay(ctx context.Context, tx *sql.Tx) error {
	h, err := history(ctx, tx)
	if err != nil {
		return err
	}
	events := h.events()
	told, err := toldByRuns(ctx, tx, "")
	if err != nil {
		return err
	}
	ran := map[string]RunEvent{}
	for _, e := range told {
		ran[e.Run] = e
	}
	for i, e := range events {
		if n, ok := e.(NoteEvent); ok && n.Run != "" {
			n.Of = ran[n.Run]
			events[i] = n
		}
	}
	for _, e := range told {
		events = append(events, e)
	}
	return saveProblems(ctx, tx, Replay(events).Problems)
}

// history returns what the book holds of history.toml.
func history(ctx context.Context, q querier) (h History, err error) {
	if h.Revisions, err = revisions(ctx, q); err != nil {
		return h, err
	}
	if h.Services, err = services(ctx, q); err != nil {
		return h, err
	}
	h.Notes, err = notes(ctx, q)
	return h, err
}

// toldByRuns reads of one run, of every run where it is "", what the life of problems asks for and no more, joints in the order of
// the answer: what was found, the measures that show a cause, and what they were got under.
func toldByRuns(ctx context.Context, q querier, run string) ([]RunEvent, error) {
	of, args := func(string) string { return "TRUE" }, []any{}
	if run != "" {
		of, args = func(column string) string { return column + " = ?" }, append(args, run)
	}
	list, err := runs(ctx, q, "WHERE "+of("id"), args...)
	if err != nil {
		return nil, err
	}
	setups, err := readSetups(ctx, q)
	if err != nil {
		return nil, err
	}
	names := []string{loadTorque}
	for _, n := range shownBy {
		names = append(names, n...)
	}
	forms, err := readForms(ctx, q, names)
	if err != nil {
		return nil, err
	}
	place := map[string]int{} // of the run in the list
	for i, r := range list {
		place[r.ID] = i
	}
	type placed struct {
		health.Joint
		place int
	}
	joints := make([][]placed, len(list))
	under := make([]map[string]alike.Conditions, len(list))
	texts := interned{}
	_, err = rows(ctx, q, func(rs *sql.Rows) (struct{}, error) {
		var run sql.RawBytes
		var j placed
		var body sql.RawBytes
		if err := rs.Scan(&run, &j.Joint.Joint, &j.place, &body); err != nil {
			return struct{}{}, err
		}
		i, ok := place[string(run)]
		if !ok {
			return struct{}{}, nil
		}
		j.Joint.Joint = texts.text([]byte(j.Joint.Joint))
		u := unpacker{rest: body, texts: texts}
		c := unpackCircumstances(&u)
		j.Measures = forms.measures(&u, nil)
		joints[i] = append(joints[i], j)
		if under[i] == nil {
			under[i] = map[string]alike.Conditions{}
		}
		under[i][j.Joint.Joint] = c.of(list[i], setups)
		return struct{}{}, u.err
	}, "SELECT run, joint, place, body FROM past WHERE answered > 0 AND "+of("run"), args...)
	if err != nil {
		return nil, err
	}
	found := map[string][]health.Finding{}
	_, err = rows(ctx, q, func(rs *sql.Rows) (struct{}, error) {
		var run, name, evidence string
		var f health.Finding
		err := rs.Scan(&run, &name, &f.Cause, &f.Severity, &f.Part, &evidence)
		if err == nil {
			err = json.Unmarshal([]byte(evidence), &f.Evidence)
		}
		found[run+"\x00"+name] = append(found[run+"\x00"+name], f)
		return struct{}{}, err
	}, "SELECT run, joint, cause, severity, part, evidence FROM findings WHERE "+of("run")+" ORDER BY run, place", args...)
	if err != nil {
		return nil, err
	}
	events := make([]RunEvent, len(list))
	for i, r := range list {
		slices.SortFunc(joints[i], func(a, b placed) int { return cmp.Compare(a.place, b.place) })
		var answer []health.Joint
		for _, j := range joints[i] {
			j.Findings = found[r.ID+"\x00"+j.Joint.Joint]
			answer = append(answer, j.Joint)
		}
		e := eventOf(r, answer)
		e.Conditions = under[i]
		events[i] = e
	}
	return events, nil
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

// saveProblems writes down the problems that are not as the book has them.
func saveProblems(ctx context.Context, tx *sql.Tx, problems []Problem) error {
	known := map[int]string{}
	_, err := rows(ctx, tx, func(rs *sql.Rows) (struct{}, error) {
		var id int
		var body string
		err := rs.Scan(&id, &body)
		known[id] = body
		return struct{}{}, err
	}, "SELECT id, body FROM problems")
	if err != nil {
		return err
	}
	bodies := map[int]string{}
	for _, p := range problems {
		body, err := json.Marshal(p)
		if err != nil {
			return err
		}
		bodies[p.ID] = string(body)
	}
	for id, body := range known { // first, as one that is new may carry the name of one that goes
		if bodies[id] == body {
			delete(bodies, id)
			continue
		}
		if _, err := tx.ExecContext(ctx, "DELETE FROM problems WHERE id = ?", id); err != nil {
			return err
		}
	}
	for _, p := range problems {
		if body, ok := bodies[p.ID]; ok {
			if _, err := tx.ExecContext(ctx, "INSERT INTO problems VALUES (?, ?, ?, ?)", p.ID, p.Joint, p.Cause, body); err != nil {
				return err
			}
		}
	}
	return nil
}
