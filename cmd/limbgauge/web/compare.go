package web

import (
	"context"
	"html/template"
	"math"
	"net/http"
	"slices"

	"limbgauge/analyze/book"
	"limbgauge/analyze/compare"
	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
)

// compareView sets two revisions side by side.
type compareView struct {
	A, B      string
	Revisions []string
	Joints    []comparedJoint
}

type comparedJoint struct {
	Name, Sentence string
	Notes          []string
	Rows           []comparedRow
}

type comparedRow struct {
	Title, Path, Diff, Margin, Why string
	Sides                          []comparedSide
	Lean                           template.HTML
	Sign                           report.Sign
}

type comparedSide struct {
	Name, Amount string
	Drawing      template.HTML
}

func (v compareView) title() string {
	if len(v.Joints) == 0 {
		return "Compare"
	}
	return v.B + " against " + v.A
}

func (s *server) compare(ctx context.Context, r *http.Request) (any, error) {
	v := compareView{A: r.URL.Query().Get("a"), B: r.URL.Query().Get("b")}
	type known struct {
		revs   []book.Revision
		joints map[string][]string
	}
	k, err := withBook(ctx, s, func(b *book.Book) (k known, err error) {
		if k.revs, err = b.Revisions(ctx); err != nil {
			return k, err
		}
		k.joints = map[string][]string{}
		for _, r := range k.revs {
			if k.joints[r.Name], err = b.Joints(ctx, r.Name); err != nil {
				return k, err
			}
		}
		return k, nil
	})
	if err != nil {
		return nil, err
	}
	for _, r := range k.revs {
		v.Revisions = append(v.Revisions, r.Name)
	}
	if v.A == "" && v.B == "" { // the newest that has runs against the one it came from
		for _, r := range slices.Backward(k.revs) {
			if r.Parent != "" && len(k.joints[r.Name]) > 0 && len(k.joints[r.Parent]) > 0 {
				v.A, v.B = r.Parent, r.Name
				break
			}
		}
	}
	both := slices.DeleteFunc(k.joints[v.B], func(name string) bool { return !slices.Contains(k.joints[v.A], name) })
	if v.A == v.B || len(both) == 0 {
		return v, nil
	}
	told, err := s.desk.Compare(ctx, v.A, v.B)
	if err != nil {
		return nil, err
	}
	for _, name := range both {
		v.Joints = append(v.Joints, comparedOf(name, v.A, v.B, told[name]))
	}
	return v, nil
}

func comparedOf(name, nameA, nameB string, res compare.Result) comparedJoint {
	c := comparedJoint{Name: name, Sentence: report.Sentence(res.Sentence)}
	for _, n := range res.Notes {
		c.Notes = append(c.Notes, report.Sentence(n))
	}
	for _, r := range res.Rows {
		d, _ := health.DefinitionOf(r.A.Name)
		row := comparedRow{Title: d.Title, Path: string(r.A.Path), Lean: report.Lean(r.Gain(), r.U, r.Margin), Why: report.Sentence(r.Why), Sign: signOf(r.Verdict)}
		drawn := report.Gauges(r.A, r.B)
		row.Sides = []comparedSide{{nameA, report.Amount(r.A), drawn[0]}, {nameB, report.Amount(r.B), drawn[1]}}
		if !math.IsNaN(r.Diff) {
			row.Diff = report.Amount(health.Measure{Name: r.A.Name, Value: r.Diff, Uncertainty: r.U, Unit: r.A.Unit, Status: health.Measured})
			if r.Diff > 0 {
				row.Diff = "+" + row.Diff
			}
			if r.Margin > 0 {
				row.Margin = report.Amount(health.Measure{Name: r.A.Name, Value: r.Margin, Uncertainty: math.NaN(), Unit: r.A.Unit, Status: health.Measured})
			}
		}
		c.Rows = append(c.Rows, row)
	}
	slices.SortStableFunc(c.Rows, func(a, b comparedRow) int { return rank(a.Sign) - rank(b.Sign) })
	return c
}

// rank puts what is settled before what is not.
func rank(s report.Sign) int {
	return slices.Index([]string{string(compare.Worse), string(compare.Better), string(compare.Differs), string(compare.Same), string(compare.Cannot)}, s.Word)
}

// signOf gives a comparison's verdict its shape.
func signOf(v compare.Verdict) report.Sign {
	shape := map[compare.Verdict]health.Verdict{compare.Better: health.Pass, compare.Worse: health.Fail, compare.Cannot: health.Unproven}[v]
	return report.Sign{Shape: report.VerdictSign(shape).Shape, Word: string(v)}
}
