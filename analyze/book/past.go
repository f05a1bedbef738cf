package book

import (
	"context"
	"database/sql"
	"encoding/json"
	"math"
	"slices"
	"time"

	"limbgauge/analyze/alike"
	"limbgauge/analyze/health"
	"limbgauge/rig"
	"limbgauge/rig/record"
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
	setups, err := b.setups(ctx)
	if err != nil {
		return nil, err
	}
	services, err := b.Services(ctx)
	if err != nil {
		return nil, err
	}
	count := newOdometer(joint, services)
	at := map[string]int{}
	var out []JointPast
	_, err = rows(ctx, b.db, func(rs *sql.Rows) (struct{}, error) {
		var p JointPast
		var started string
		var setup, reversals sql.NullInt64
		var hz, volts, ambient, travel sql.NullFloat64
		r := &p.Run
		err := rs.Scan(&r.ID, &started, &r.Leg, &r.Revision, &r.Routine, &r.Assembly, &r.Ended, &r.Whole, &r.Samples, &r.Lost, &r.Judged, &r.Bare, &r.Setups,
			&setup, &hz, &volts, &ambient, &travel, &reversals)
		if err != nil {
			return struct{}{}, err
		}
		if r.Started, err = parseWhen(started); err != nil {
			return struct{}{}, err
		}
		p.Conditions = alike.Conditions{Leg: r.Leg, Routine: r.Routine, Bare: r.Bare, Setup: setups[setup.Int64],
			SampleHz: fromNull(hz), SupplyV: fromNull(volts), AmbientC: fromNull(ambient), LoadNm: math.NaN()}
		p.Conditions.Setup.Name, p.Conditions.Calibration = joint, p.Conditions.Setup.Calibration
		if travel.Valid && reversals.Valid {
			p.Travel.Run = &Count{Deg: travel.Float64, Reversals: int(reversals.Int64)}
		}
		count.add(&p)
		at[r.ID] = len(out)
		out = append(out, p)
		return struct{}{}, nil
	}, "SELECT "+runColumns+", setup, sample_hz, supply_v, ambient_c, travel_deg, reversals FROM past JOIN runs ON runs.id = past.run WHERE joint = ? ORDER BY started, number, id", joint)
	if err != nil {
		return nil, err
	}
	wanted := func(id string) *JointPast {
		i, ok := at[id]
		if !ok || len(revisions) > 0 && !slices.Contains(revisions, out[i].Run.Revision) {
			return nil
		}
		return &out[i]
	}
	_, err = rows(ctx, b.db, func(rs *sql.Rows) (struct{}, error) {
		var id string
		m, err := scanMeasure(rs, &id)
		p := wanted(id)
		if err != nil || p == nil {
			return struct{}{}, err
		}
		if m.Name == loadTorque && m.Status == health.Measured {
			p.Conditions.LoadNm = m.Value
		}
		if len(want) == 0 || slices.Contains(want, m.Name) {
			if m.Status != health.NotObservable {
				m.Reason = ""
			}
			p.Measures = append(p.Measures, m)
		}
		return struct{}{}, nil
	}, "SELECT run, "+measureColumns+" FROM measures WHERE joint = ? ORDER BY run, place", joint)
	if err != nil {
		return nil, err
	}
	_, err = rows(ctx, b.db, func(rs *sql.Rows) (struct{}, error) {
		var id string
		var c health.Cause
		err := rs.Scan(&id, &c)
		if p := wanted(id); err == nil && p != nil {
			p.Causes = append(p.Causes, c)
		}
		return struct{}{}, err
	}, "SELECT run, cause FROM findings WHERE joint = ? AND severity IN (?, ?) ORDER BY run, place", joint, health.SeverityWarning, health.SeverityFault)
	return out, err
}

// loadTorque is the measure that says what load a run saw.
const loadTorque = "load_torque_peak"

// setups returns the set-ups of joints by their number.
func (b *Book) setups(ctx context.Context) (map[int64]rig.Joint, error) {
	out := map[int64]rig.Joint{}
	_, err := rows(ctx, b.db, func(rs *sql.Rows) (struct{}, error) {
		var id int64
		var body string
		err := rs.Scan(&id, &body)
		var j rig.Joint
		if err == nil {
			err = json.Unmarshal([]byte(body), &j)
		}
		out[id] = j
		return struct{}{}, err
	}, "SELECT id, body FROM setups")
	return out, err
}

// insertPast writes down what a run says of its joints' circumstances. A joint that only the answer
// names gets a row too, without a set-up.
func insertPast(ctx context.Context, tx *sql.Tx, i record.Info, h health.Health) error {
	insert := func(joint string, setup any, j record.JointInfo) error {
		travel, reversals := any(nil), any(nil)
		if j.TravelDeg != nil && j.Reversals != nil {
			travel, reversals = *j.TravelDeg, *j.Reversals
		}
		volts := j.SupplyRestV
		if volts == nil {
			volts = i.Conditions.SupplySetV
		}
		hz := any(nil)
		if i.Stand.SampleHz > 0 {
			hz = i.Stand.SampleHz
		}
		_, err := tx.ExecContext(ctx, "INSERT INTO past VALUES (?, ?, ?, ?, ?, ?, ?, ?)", i.Run, joint, setup, hz, stated(volts), stated(i.Conditions.AmbientC), travel, reversals)
		return err
	}
	seen := map[string]bool{}
	for _, j := range i.Joints {
		seen[j.Setup.Name] = true
		body, err := json.Marshal(j.Setup)
		if err != nil {
			return err
		}
		var id int64
		err = tx.QueryRowContext(ctx, "INSERT INTO setups(body) VALUES (?) ON CONFLICT (body) DO UPDATE SET body = body RETURNING id", string(body)).Scan(&id)
		if err != nil {
			return err
		}
		if err := insert(j.Setup.Name, id, j); err != nil {
			return err
		}
	}
	for _, j := range h.Joints {
		if !seen[j.Joint] {
			if err := insert(j.Joint, nil, record.JointInfo{}); err != nil {
				return err
			}
		}
	}
	return nil
}

func stated(v *float64) any {
	if v == nil {
		return nil
	}
	return null(*v)
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
