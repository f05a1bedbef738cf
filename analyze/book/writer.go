package book

import (
	"context"
	"database/sql"
	"encoding/json"
	"math"
	"slices"
	"time"

	"limbgauge/analyze/health"
	"limbgauge/rig/record"
)

// writer puts runs into the book within one transaction. It remembers the numbers of what is kept once.
type writer struct {
	tx     *sql.Tx
	forms  map[string]int64
	setups map[string]int64
}

func newWriter(tx *sql.Tx) *writer {
	return &writer{tx: tx, forms: map[string]int64{}, setups: map[string]int64{}}
}

// How much an answer says of a joint.
const (
	notAnswered = iota
	answered
	fine // no warning, no fault, no limit missed
)

// run puts a run in, in the place of one of that name. mark is that of its folder.
func (w *writer) run(ctx context.Context, i record.Info, h health.Health, mark string) error {
	r := RunOf(i)
	r.Judged = len(h.Joints) > 0
	if _, err := w.tx.ExecContext(ctx, "DELETE FROM runs WHERE id = ?", r.ID); err != nil {
		return err
	}
	_, err := w.tx.ExecContext(ctx, "INSERT INTO runs VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", r.ID, numberOf(r.ID), when(r.Started), r.Leg, r.Revision,
		r.Routine, r.Assembly, r.Whole, r.Bare, r.Judged, mark, []byte(r.pack()))
	if err != nil {
		return err
	}
	joints := slices.Clone(h.Joints) // first, so that places keep the order of the answer
	for _, j := range i.Joints {
		jointOf(&joints, j.Setup.Name)
	}
	findings := 0
	for place, j := range joints {
		if err := w.joint(ctx, i, j, place, place < len(h.Joints)); err != nil {
			return err
		}
		for _, f := range j.Findings {
			if f.Cause == health.None {
				continue
			}
			evidence, err := json.Marshal(f.Evidence)
			if err != nil {
				return err
			}
			findings++ // counts through the run, as one of its joints may have several
			if _, err := w.tx.ExecContext(ctx, "INSERT INTO findings VALUES (?, ?, ?, ?, ?, ?, ?)", r.ID, j.Joint, findings, f.Cause, f.Severity, f.Part, string(evidence)); err != nil {
				return err
			}
		}
	}
	return nil
}

// joint puts in what a run says of a joint and its circumstances. One that only the answer names has no
// set-up.
func (w *writer) joint(ctx context.Context, i record.Info, j health.Joint, place int, judged bool) error {
	c := circumstances{sampleHz: math.NaN(), supplyV: stated(i.Conditions.SupplySetV), ambC: stated(i.Conditions.AmbientC), travelDeg: math.NaN()}
	if i.Stand.SampleHz > 0 {
		c.sampleHz = i.Stand.SampleHz
	}
	if k := slices.IndexFunc(i.Joints, func(k record.JointInfo) bool { return k.Setup.Name == j.Joint }); k >= 0 {
		info := i.Joints[k]
		body, err := json.Marshal(info.Setup)
		if err != nil {
			return err
		}
		if c.setup, err = w.once(ctx, "setups", w.setups, string(body)); err != nil {
			return err
		}
		if info.TravelDeg != nil && info.Reversals != nil {
			c.travelDeg, c.reversals = *info.TravelDeg, *info.Reversals
		}
		if info.SupplyRestV != nil { // what was seen says more than what was set
			c.supplyV = *info.SupplyRestV
		}
	}
	body := c.pack()
	for _, m := range j.Measures {
		form, reason := split(m)
		text, err := json.Marshal(form)
		if err != nil {
			return err
		}
		id, err := w.once(ctx, "forms", w.forms, string(text))
		if err != nil {
			return err
		}
		body = body.measure(id, m, reason)
	}
	_, err := w.tx.ExecContext(ctx, "INSERT INTO past VALUES (?, ?, ?, ?, ?)", j.Joint, i.Run, place, says(j, judged), []byte(body))
	return err
}

func says(j health.Joint, judged bool) int {
	bad := func(f health.Finding) bool {
		return f.Severity == health.SeverityWarning || f.Severity == health.SeverityFault
	}
	switch {
	case !judged:
		return notAnswered
	case slices.ContainsFunc(j.Findings, bad) || slices.ContainsFunc(j.Measures, func(m health.Measure) bool { return m.Verdict == health.Fail }):
		return answered
	}
	return fine
}

func stated(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

// once returns the number of a text that is kept once.
func (w *writer) once(ctx context.Context, table string, known map[string]int64, body string) (int64, error) {
	id, ok := known[body]
	if ok {
		return id, nil
	}
	err := w.tx.QueryRowContext(ctx, "INSERT INTO "+table+"(body) VALUES (?) ON CONFLICT (body) DO UPDATE SET body = body RETURNING id", body).Scan(&id)
	known[body] = id
	return id, err
}

// taken is a run folder that is to come into the book.
type taken struct {
	info   record.Info
	health health.Health
	mark   string
}

// mostSteps is how many runs that come in at once may be followed one by one; with more all that was
// before them is followed anew, which takes about as long.
const mostSteps = 50

// takeIn puts runs in and follows what they say of problems. Where a run told something before, or is
// not newer than all that the book knows, the whole story is followed anew: order matters.
func (w *writer) takeIn(ctx context.Context, list []taken) error {
	anew := false
	for _, t := range list {
		var told bool
		err := w.tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM runs WHERE id = ? AND judged)", t.info.Run).Scan(&told)
		if err != nil {
			return err
		}
		anew = anew || told
		// One that was not judged told nothing: it is as good as new.
		if _, err := w.tx.ExecContext(ctx, "DELETE FROM runs WHERE id = ?", t.info.Run); err != nil {
			return err
		}
	}
	newest, err := newestEvent(ctx, w.tx)
	if err != nil {
		return err
	}
	var events []Event
	for _, t := range list {
		if err := w.run(ctx, t.info, t.health, t.mark); err != nil {
			return err
		}
		events = append(events, eventOf(RunOf(t.info), t.health.Joints))
	}
	slices.SortStableFunc(events, func(a, b Event) int { return a.at().Compare(b.at()) })
	return follow(ctx, w.tx, newest, anew, events...)
}

// follow takes the problems further by events in their order, which are in the book already. newest is
// the time of the newest before them. Events that are not newer than all before make the whole story
// be followed anew, since order matters, and that of equal times is the replay's.
func follow(ctx context.Context, tx *sql.Tx, newest time.Time, anew bool, events ...Event) error {
	for _, e := range events {
		anew = anew || !newest.IsZero() && !e.at().After(newest)
		newest = e.at()
	}
	if anew {
		return replay(ctx, tx)
	}
	l, err := loadLife(ctx, tx)
	if err != nil {
		return err
	}
	for _, e := range events {
		if e, err = completed(ctx, tx, e); err != nil {
			return err
		}
		l = l.Step(e)
	}
	return saveProblems(ctx, tx, l.Problems)
}

func newestEvent(ctx context.Context, q querier) (time.Time, error) {
	var s sql.NullString
	err := q.QueryRowContext(ctx, `SELECT max(t) FROM (SELECT max(started) AS t FROM runs UNION ALL SELECT max(made) FROM revisions
		UNION ALL SELECT max(at) FROM services UNION ALL SELECT max(at) FROM notes)`).Scan(&s)
	if err != nil || !s.Valid {
		return time.Time{}, err
	}
	return parseWhen(s.String)
}
