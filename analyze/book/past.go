package book

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// JointPast is one run of a joint with all that is needed to set it beside others.
type JointPast struct {
	Run        Run
	Conditions alike.Conditions
	Travel     Travel
	// Measures are those asked for, in the order of the run's answer; none where it was not judged.
	// Reason is kept of what could not be seen; Book.Run has the others.
	Measures []health.Measure
	// Causes lists what the run found wrong with the joint, warnings and faults.
	Causes []health.Cause
}

// Find returns the measure of that name and path; ok is false when it is not there.
func (p JointPast) Find(name string, path health.Path) (m health.Measure, ok bool) {
	return health.Joint{Measures: p.Measures}.Find(name, path)
}

// NoMeasures, asked for alone, leaves measures out, and with them the load seen: travel, the other
// conditions and causes are read faster.
const NoMeasures = "-"

// History returns every run of a joint, oldest first: whole or not, judged or not, of all revisions
// and legs. want names measures; without any, all are given. Runs of the bare servo are among them,
// with Run.Bare: they say nothing of the joint.
func (b *Book) History(ctx context.Context, joint string, want ...string) ([]JointPast, error) {
	return b.HistoryOf(ctx, joint, nil, want...)
}

// HistoryOf is History with the measures of some revisions only: all runs are in it, as travel counts
// through all of them, but those of other revisions carry no measures and no causes. No revisions
// named means all.
func (b *Book) HistoryOf(ctx context.Context, joint string, revisions []string, want ...string) ([]JointPast, error) {
	return ask(ctx, b, func(q querier) ([]JointPast, error) { return jointHistory(ctx, q, joint, revisions, want) })
}

func jointHistory(ctx context.Context, q querier, joint string, revisions, want []string) ([]JointPast, error) {
	setups, err := readSetups(ctx, q)
	if err != nil {
		return nil, err
	}
	done, err := services(ctx, q)
	if err != nil {
		return nil, err
	}
	load := want
	if len(want) > 0 {
		load = append([]string{loadTorque}, want...)
	}
	forms, err := readForms(ctx, q, load)
	if err != nil {
		return nil, err
	}
	causes, err := causesOf(ctx, q, joint)
	if err != nil {
		return nil, err
	}
	bare := slices.Equal(want, []string{NoMeasures})
	var all int
	if err := q.QueryRowContext(ctx, "SELECT count(*) FROM runs").Scan(&all); err != nil {
		return nil, fmt.Errorf("read the book: %w", err)
	}
	out := make([]JointPast, 0, all)
	texts := interned{}
	most := 0
	_, err = rows(ctx, q, func(rs *sql.Rows) (struct{}, error) {
		var run, body sql.RawBytes
		if err := rs.Scan(&run, &body); err != nil {
			return struct{}{}, err
		}
		out = append(out, JointPast{})
		p := &out[len(out)-1]
		var err error
		if p.Run, err = unpackRun(run, texts); err != nil {
			return struct{}{}, err
		}
		u := unpacker{rest: body, texts: texts}
		c := unpackCircumstances(&u)
		p.Conditions = c.of(p.Run, setups)
		if !math.IsNaN(c.travelDeg) {
			p.Travel.Run = &Count{Deg: c.travelDeg, Reversals: c.reversals}
		}
		if len(revisions) > 0 && !slices.Contains(revisions, p.Run.Revision) {
			return struct{}{}, nil
		}
		p.Causes = causes[p.Run.ID]
		if bare {
			return struct{}{}, nil
		}
		p.Measures = forms.measures(&u, make([]health.Measure, 0, most))
		most = max(most, len(p.Measures))
		p.Conditions = seenUnder(p.Conditions, health.Joint{Measures: p.Measures})
		if len(want) > 0 && !slices.Contains(want, loadTorque) {
			p.Measures = slices.DeleteFunc(p.Measures, func(m health.Measure) bool { return m.Name == loadTorque })
		}
		return struct{}{}, u.err
	}, "SELECT runs.body, past.body FROM past JOIN runs ON runs.id = past.run WHERE joint = ?", joint)
	if err != nil {
		return nil, err
	}
	out = inOrder(out)
	count := newOdometer(joint, done)
	for i := range out {
		count.add(&out[i])
	}
	return out, nil
}

// inOrder sorts runs, oldest first. The database would carry all figures through its sorter, and to
// swap what is so large costs more than to sort where it is to go.
func inOrder(past []JointPast) []JointPast {
	if sort.SliceIsSorted(past, func(a, b int) bool { return past[a].Run.compare(&past[b].Run) < 0 }) {
		return past
	}
	from := make([]int, len(past))
	for i := range from {
		from[i] = i
	}
	slices.SortFunc(from, func(a, b int) int { return past[a].Run.compare(&past[b].Run) })
	out := make([]JointPast, len(past))
	for i, k := range from {
		out[i] = past[k]
	}
	return out
}

// causesOf returns by run what was found wrong with a joint.
func causesOf(ctx context.Context, q querier, joint string) (map[string][]health.Cause, error) {
	out := map[string][]health.Cause{}
	_, err := rows(ctx, q, func(rs *sql.Rows) (struct{}, error) {
		var run string
		var c health.Cause
		err := rs.Scan(&run, &c)
		out[run] = append(out[run], c)
		return struct{}{}, err
	}, "SELECT run, cause FROM findings WHERE joint = ? AND severity IN (?, ?) ORDER BY run, place", joint, health.SeverityWarning, health.SeverityFault)
	return out, err
}

// loadTorque is the measure that says what load a run saw.
const loadTorque = "load_torque_peak"

// readSetups returns the set-ups of joints by their number.
func readSetups(ctx context.Context, q querier) (map[int64]rig.Joint, error) {
	out := map[int64]rig.Joint{}
	_, err := rows(ctx, q, func(rs *sql.Rows) (struct{}, error) {
		var id int64
		var body []byte
		var j rig.Joint
		err := rs.Scan(&id, &body)
		if err == nil {
			err = json.Unmarshal(body, &j)
		}
		out[id] = j
		return struct{}{}, err
	}, "SELECT id, body FROM setups")
	return out, err
}

// Alteration is what may have made another joint of a joint: a service or a new revision.
type Alteration struct {
	When     time.Time
	Revision string // that was added, "" for a service
	Service  int    // its number, 0 for a revision
	What     string // of a service what was done, of a revision why
	Part     string // of a service; "" where none was named
	Replaced bool   // the part is a new one
}

// Events returns what may have changed a joint, oldest first: services at it or at the whole leg, and
// revisions. A revision is on the stand from the first run that was made with it, see Run.Revision.
func (b *Book) Events(ctx context.Context, joint string) ([]Alteration, error) {
	revs, err := b.Revisions(ctx)
	if err != nil {
		return nil, err
	}
	services, err := b.Services(ctx)
	if err != nil {
		return nil, err
	}
	var out []Alteration
	for _, r := range revs {
		out = append(out, Alteration{When: r.Made, Revision: r.Name, What: r.Why})
	}
	for _, s := range services {
		if s.Joint == "" || s.Joint == joint {
			out = append(out, Alteration{When: s.When, Service: s.ID, What: s.What, Part: s.Part, Replaced: s.Replaced})
		}
	}
	slices.SortStableFunc(out, func(x, y Alteration) int { return x.When.Compare(y.When) })
	return out, nil
}
