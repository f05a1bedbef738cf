package main

import (
	"math"

	"limbgauge/analyze/compare"
	"limbgauge/analyze/health"
)

// compareSchema is the version of what compare prints as JSON; DEVELOPERS.md says what it holds.
const compareSchema = 1

type comparedJSON struct {
	Schema int          `json:"schema"`
	A      sideJSON     `json:"a"`
	B      sideJSON     `json:"b"`
	Joints []comparedJt `json:"joints"`
}

type sideJSON struct {
	Name string   `json:"name"`
	Runs []string `json:"runs"`
}

type comparedJt struct {
	Joint    string        `json:"joint"`
	Sentence string        `json:"sentence"`
	Family   int           `json:"family"`
	Notes    []string      `json:"notes"`
	Measures []comparedRow `json:"measures"`
}

type comparedRow struct {
	Name    string          `json:"name"`
	Path    health.Path     `json:"path"`
	Unit    string          `json:"unit"`
	Routine string          `json:"routine"`
	Asked   bool            `json:"asked"`
	A       health.Measure  `json:"a"`
	B       health.Measure  `json:"b"`
	UnitsA  int             `json:"units_a"`
	UnitsB  int             `json:"units_b"`
	Diff    *float64        `json:"difference"`
	U       *float64        `json:"uncertainty"`
	DF      *float64        `json:"degrees_of_freedom"`
	P       *float64        `json:"p"`
	ByDoubt bool            `json:"p_by_doubt"`
	PHolm   *float64        `json:"p_adjusted"`
	PPerm   *float64        `json:"p_permuted"`
	Deals   int             `json:"deals"`
	Shift   shiftJSON       `json:"shift"`
	Margin  *float64        `json:"margin"`
	From    string          `json:"margin_from,omitempty"`
	PSame   *float64        `json:"p_same"`
	Could   *float64        `json:"detectable"`
	Apart   *float64        `json:"apart_at_least"`
	ApartU  *float64        `json:"apart_uncertainty"`
	Verdict compare.Verdict `json:"verdict"`
	Why     string          `json:"why"`
}

type shiftJSON struct {
	Value    *float64 `json:"value"`
	Lo       *float64 `json:"lo"`
	Hi       *float64 `json:"hi"`
	Coverage *float64 `json:"coverage"`
}

// figureOrNull is null for what is not there.
func figureOrNull(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func comparisonJSON(sides [2]runSet, answers []comparisonOfJoint) comparedJSON {
	out := comparedJSON{Schema: compareSchema, A: sideOfJSON(sides[0]), B: sideOfJSON(sides[1]), Joints: []comparedJt{}}
	n := figureOrNull
	for _, c := range answers {
		j := comparedJt{Joint: c.joint, Sentence: c.res.Sentence, Family: c.res.Family, Notes: append([]string{}, c.res.Notes...), Measures: []comparedRow{}}
		for _, r := range c.res.Rows {
			j.Measures = append(j.Measures, comparedRow{Name: r.A.Name, Path: r.A.Path, Unit: r.A.Unit, Routine: r.Routine, Asked: r.Asked,
				A: r.A, B: r.B, UnitsA: r.NA, UnitsB: r.NB, Diff: n(r.Diff), U: n(r.U), DF: n(r.DF),
				P: n(r.P), ByDoubt: r.ByDoubt, PHolm: n(r.Adjusted), PPerm: n(r.Permuted), Deals: r.Deals,
				Shift:  shiftJSON{n(r.Shift.Value), n(r.Shift.Lo), n(r.Shift.Hi), n(r.Shift.Coverage)},
				Margin: n(r.Margin), From: r.MarginFrom, PSame: n(r.SameP), Could: n(r.Detectable),
				Apart: n(r.Apart), ApartU: n(r.ApartU), Verdict: r.Verdict, Why: r.Why})
		}
		out.Joints = append(out.Joints, j)
	}
	return out
}

func sideOfJSON(s runSet) sideJSON {
	out := sideJSON{Name: s.name, Runs: []string{}}
	for _, r := range s.runs {
		out.Runs = append(out.Runs, r.ID)
	}
	return out
}
