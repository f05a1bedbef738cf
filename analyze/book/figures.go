package book

import (
	"context"
	"database/sql"
	"encoding/json"
	"math"
	"slices"
	"strings"

	"limbgauge/analyze/health"
)

// The measures of a joint's answer are kept as one short record, so that ten thousand runs are read in
// a few hundredths of a second. A form is all of a measure but its figures; it is the same in many runs
// and kept once, as JSON. Of each measure the record holds, in the order of the answer: the number of
// its form, a byte that says what follows, value, uncertainty and limit where there are any, and the
// reason where it is its own.
//
// Of reasons only those of what could not be seen are kept, in the form where they tell no figures. The
// whole answer stands in the run's folder.

const (
	hasValue = 1 << iota
	hasUncertainty
	hasLimit
	hasReason
)

// split takes a measure apart into its form and the reason that is its own.
func split(m health.Measure) (form health.Measure, reason string) {
	if m.Status == health.NotObservable && strings.ContainsAny(m.Reason, "0123456789") {
		reason = m.Reason
	}
	if m.Status != health.NotObservable || reason != "" {
		m.Reason = ""
	}
	m.Value, m.Uncertainty, m.Limit = math.NaN(), math.NaN(), math.NaN()
	return m, reason
}

// measure adds a measure of a form to a record.
func (p packed) measure(form int64, m health.Measure, reason string) packed {
	p = p.int(form)
	at := len(p)
	p = append(p, 0)
	for i, v := range []float64{m.Value, m.Uncertainty, m.Limit} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		p[at] |= hasValue << i
		p = p.figure(v)
	}
	if reason != "" {
		p[at] |= hasReason
		p = p.text(reason)
	}
	return p
}

// forms are the known forms by their number, from 1.
type forms []form

type form struct {
	health.Measure
	wanted bool
}

// readForms reads all forms; wanted are the measures named, all where none is.
func readForms(ctx context.Context, q querier, want []string) (forms, error) {
	var out forms
	_, err := rows(ctx, q, func(rs *sql.Rows) (struct{}, error) {
		var id int
		var body sql.RawBytes
		var f form
		if err := rs.Scan(&id, &body); err != nil {
			return struct{}{}, err
		}
		if err := json.Unmarshal(body, &f.Measure); err != nil {
			return struct{}{}, err
		}
		f.wanted = len(want) == 0 || slices.Contains(want, f.Name)
		for len(out) <= id {
			out = append(out, form{})
		}
		out[id] = f
		return struct{}{}, nil
	}, "SELECT id, body FROM forms")
	return out, err
}

// measures reads the wanted measures of the rest of a record.
func (f forms) measures(u *unpacker, out []health.Measure) []health.Measure {
	for len(u.rest) > 0 {
		id := u.int()
		what := u.take(1)
		if u.err != nil || id < 1 || id >= int64(len(f)) || f[id].Name == "" {
			u.fail()
			return nil
		}
		has := what[0]
		if !f[id].wanted {
			for bit := byte(hasValue); bit <= hasLimit; bit <<= 1 {
				if has&bit != 0 {
					u.take(8)
				}
			}
			if has&hasReason != 0 {
				u.take(u.int())
			}
			continue
		}
		out = append(out, f[id].Measure)
		m := &out[len(out)-1] // its figures are NaN
		if has&hasValue != 0 {
			m.Value = u.figure()
		}
		if has&hasUncertainty != 0 {
			m.Uncertainty = u.figure()
		}
		if has&hasLimit != 0 {
			m.Limit = u.figure()
		}
		if has&hasReason != 0 {
			m.Reason = u.text()
		}
	}
	return out
}
