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
	"limbgauge/rig"
)

// compareView sets two revisions side by side.
type compareView struct {
	A, B      string
	Revisions []string
	Joints    []comparedJoint
}

type comparedJoint struct {
	Name, Headline, Few string
	Notes               []string
	Rows                []comparedRow
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

// One says that there is no second revision to choose.
func (v compareView) One() bool { return len(v.Revisions) == 1 }

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
	for _, name := range []string{v.A, v.B} {
		if name != "" && !slices.Contains(v.Revisions, name) {
			return nil, notThere{what: (&rig.NameError{What: "revision", Name: name, Known: v.Revisions}).Error(), on: step{Path: "/compare", Name: "Compare"}}
		}
	}
	v.A, v.B = pairOf(k.revs, k.joints, v.A, v.B)
	if v.A == "" || v.A == v.B {
		return v, nil
	}
	both := common(k.joints[v.A], k.joints[v.B])
	if len(both) == 0 {
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

// common returns the joints that are in both lists.
func common(a, b []string) (both []string) {
	for _, name := range b {
		if slices.Contains(a, name) {
			both = append(both, name)
		}
	}
	return both
}

// pairOf fills in what was not asked for: the newest revision that has a joint in common with another,
// against the one it came from or else the newest of those. Where no two have one it is the two newest.
func pairOf(revs []book.Revision, joints map[string][]string, a, b string) (string, string) {
	type pair struct{ from, to book.Revision }
	var pairs []pair // the newest first
	for i, to := range slices.Backward(revs) {
		for j, from := range slices.Backward(revs) {
			// What is asked for in part may be the newer one.
			if i != j && (j < i || a != "" || b != "") && (a == "" || a == from.Name) && (b == "" || b == to.Name) {
				pairs = append(pairs, pair{from, to})
			}
		}
	}
	best, most := pair{}, -1
	for _, p := range pairs {
		fits := 0
		if len(common(joints[p.from.Name], joints[p.to.Name])) > 0 {
			if fits = 1; p.from.Name == p.to.Parent {
				fits = 2
			}
		}
		if newer := best.to.Name != p.to.Name; most < 0 || newer && most == 0 && fits > 0 || !newer && fits > most {
			best, most = p, fits
		}
	}
	if most < 0 {
		return a, b
	}
	return best.from.Name, best.to.Name
}

func comparedOf(name, nameA, nameB string, res compare.Result) comparedJoint {
	c := comparedJoint{Name: name, Headline: res.Headline, Few: report.Sentence(res.Few)}
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
