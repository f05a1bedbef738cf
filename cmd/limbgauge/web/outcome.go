package web

import (
	"cmp"
	"context"
	"errors"
	"strings"

	"limbgauge/analyze/report"
	"limbgauge/rig/link"
	"limbgauge/rig/session"
)

// outcome says how a plan ended: first what its run says, or what broke it off.
func (m *motion) outcome(ctx context.Context, plan Plan, came Outcome, err error) status {
	s := status{State: limp, Run: came.Run, Hint: came.Next}
	var said []string
	cut := false
	if err != nil {
		s.Bad, s.Hint = true, m.desk.Hint(err)
		if why := context.Cause(ctx); why != nil && (errors.Is(err, session.ErrStopped) || errors.Is(err, context.Canceled)) {
			err, s.Hint, cut = why, "", true
		}
		if trip := (*link.TrippedError)(nil); errors.As(err, &trip) {
			cut = true
			err = trip // which move it was in is less than why
		}
		said = append(said, report.Sentence(err.Error()))
		s.Hint = report.Sentence(s.Hint)
	}
	if came.Said != "" {
		said = append(said, came.Said)
	}
	if len(came.Health.Joints) > 0 {
		d := &report.Document{Health: came.Health, Run: report.Run{CutShort: cut}}
		sign, verdict := report.Headline(d)
		s.Verdict = &verdictNews{sign.Shape, sign.Word, verdict}
		if s.Hint == "" && err == nil {
			s.Hint = cmp.Or(nextOf(came.Health), report.NextStep(d))
			if s.Further = furtherOf(plan.asked, came.Health); s.Further != nil {
				s.Hint = "Routine " + plan.asked.Routine + " measures a part only, routine " + report.AllMeasured + " all."
			}
		}
	} else if came.Run != "" {
		said = append(said, "What was recorded is kept as run "+came.Run+".")
	}
	s.Text = strings.Join(said, " ")
	return s
}
