package book

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"

	"limbgauge/analyze/health"
	"limbgauge/rig"
	"limbgauge/rig/record"
)

// setupsOf says how the joints of a run were built and loaded, as far as figures hang on it.
func setupsOf(i record.Info) string {
	var words []string
	for _, j := range i.Joints {
		words = append(words, j.Setup.Name, setupDigest(j.Setup))
	}
	text, err := list(words)
	if err != nil {
		return ""
	}
	return text
}

// setupDigest names a joint's set-up: what is accepted, where it is plugged in and what else is known
// of its servo makes no difference to a figure.
func setupDigest(j rig.Joint) string {
	j.Name, j.Channel, j.CurrentMaxA, j.Limits, j.Servo.BareRun = "", 0, 0, nil, ""
	data, err := json.Marshal(j)
	if err != nil {
		return ""
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:6])
}

// setup returns the digest of a joint's set-up, "" where the run has no such joint.
func (r Run) setup(joint string) string {
	names, err := fromList(r.Setups)
	if err != nil {
		return ""
	}
	for i := 0; i+1 < len(names); i += 2 {
		if names[i] == joint {
			return names[i+1]
		}
	}
	return ""
}

func scanText(rs *sql.Rows) (s string, err error) { return s, rs.Scan(&s) }

// JointRun is what a run answered of one joint.
type JointRun struct {
	Run   string
	Joint health.Joint
}

// usualMost is how many first runs are asked for at most.
const usualMost = 5

// Usual returns the first good runs of a joint as it was built for a run, oldest first and at most
// five, all of them before that run. They count from the newest of what may have changed the joint:
// a service at it, another revision or assembly on the stand, its servo run bare. They are whole, of
// the same leg, routine and set-up, with no fault and no warning named and no limit missed. Since
// they are the first ones, a slow drift does not move them; and as nothing later than the run is
// asked, judging it again at any time gives the same.
func (b *Book) Usual(ctx context.Context, r Run, joint string) ([]JointRun, error) {
	if r.Bare {
		return nil, nil
	}
	good, err := ask(ctx, b, func(q querier) ([]Run, error) { return usual(ctx, q, r, joint) })
	if err != nil {
		return nil, err
	}
	var out []JointRun
	for _, g := range good {
		joints, err := b.answer(g.ID)
		if err != nil {
			return nil, err
		}
		if i := slices.IndexFunc(joints, func(j health.Joint) bool { return j.Joint == joint }); i >= 0 {
			out = append(out, JointRun{g.ID, joints[i]})
		}
	}
	return out, nil
}

func usual(ctx context.Context, q querier, r Run, joint string) ([]Run, error) {
	const before = "(started, number, id) < (?, ?, ?)"
	at := []any{when(r.Started), numberOf(r.ID), r.ID}
	changed, err := rows(ctx, q, scanText, "SELECT coalesce(max(at), '') FROM services WHERE at <= ? AND joint IN ('', ?)", when(r.Started), joint)
	if err != nil {
		return nil, err
	}
	other, err := rows(ctx, q, runScanner(), "SELECT body FROM runs WHERE leg = ? AND (revision <> ? OR assembly <> ? OR bare) AND "+before+
		" AND EXISTS (SELECT 1 FROM past WHERE run = runs.id AND joint = ? AND answered > 0) ORDER BY started DESC, number DESC, id DESC LIMIT 1",
		append([]any{r.Leg, r.Revision, r.Assembly}, append(at, joint)...)...)
	if err != nil {
		return nil, err
	}
	// A run of the very time of a service comes after it, as in the life of problems.
	query := "SELECT body FROM runs WHERE leg = ? AND routine = ? AND whole AND NOT bare AND started >= ? AND " + before +
		" AND EXISTS (SELECT 1 FROM past WHERE run = runs.id AND joint = ? AND answered = ?)"
	args := append([]any{r.Leg, r.Routine, changed[0]}, append(at, joint, fine)...)
	if len(other) > 0 {
		query += " AND (started, number, id) > (?, ?, ?)"
		args = append(args, when(other[0].Started), numberOf(other[0].ID), other[0].ID)
	}
	return first(ctx, q, usualMost, func(g Run) bool { return g.setup(joint) == r.setup(joint) }, query+" ORDER BY started, number, id", args...)
}

// first returns the first runs of a query that are wanted, and reads no further.
func first(ctx context.Context, q querier, most int, want func(Run) bool, query string, args ...any) (out []Run, err error) {
	rs, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("read the book: %w", err)
	}
	defer rs.Close()
	scan := runScanner()
	for len(out) < most && rs.Next() {
		r, err := scan(rs)
		if err != nil {
			return nil, fmt.Errorf("read the book: %w", err)
		}
		if want(r) {
			out = append(out, r)
		}
	}
	if err := rs.Err(); err != nil {
		return nil, fmt.Errorf("read the book: %w", err)
	}
	return out, nil
}
