package alike

import (
	"fmt"
	"math"
	"strings"

	"limbgauge/analyze/health"
	"limbgauge/rig"
)

// Conditions are what a figure was got under.
type Conditions struct {
	Leg, Routine string
	Bare         bool      // the run spoke of the servo alone
	Setup        rig.Joint // without a name where it is not known
	// SampleHz and SupplyV are NaN or 0 where they are not known, AmbientC is NaN.
	SampleHz, SupplyV, AmbientC float64
	Calibration                 string // name; "" or "none" without one
	// LoadNm is the greatest load torque the run saw. It counts where the set-up states no load; NaN or
	// 0 where it is not known.
	LoadNm float64
}

// Kind is what an Answer comes to.
type Kind string

// The kinds.
const (
	Alike         Kind = "alike"
	Corrected     Kind = "corrected"
	NotComparable Kind = "not comparable"
)

// Answer says whether a figure may stand beside figures of other conditions. Why is fit for a
// footnote: how it was corrected, what stands in the way, or what to know of figures that compare.
type Answer struct {
	Kind Kind
	Why  string
}

// Figures brings a measure got at some conditions to others. What cannot be brought there comes back
// as not observable, with the reason, so that it is never taken for a value. A corrected measure
// carries what the law leaves open, is judged anew by its limit, and says in Method what was done.
// Measures that could not be seen, and bounds of them, keep their kind.
func Figures(m health.Measure, at, to Conditions) (health.Measure, Answer) {
	row, ok := table[m.Name]
	if !ok {
		return unseen(m, "nothing is known of what it hangs on")
	}
	var refused, said, done []string
	k, u := 1.0, 0.0 // of the whole correction; u relative to k
	for _, c := range conditions {
		r := c.rule(row, m.Path)
		if r.kind == free {
			continue
		}
		d := c.differ(at, to)
		switch {
		case d.text == "":
		case d.unknown || r.kind == say:
			said = append(said, d.text)
		case r.kind == law:
			if !d.law {
				continue
			}
			f := r.law.factor(at, to)
			if f.why != "" {
				refused = append(refused, d.text+", and "+f.why)
				continue
			}
			k, u = k*f.k, math.Hypot(u, f.u/f.k)
			done = append(done, fmt.Sprintf("%s: times %.3f by %s", d.text, f.k, r.law.name))
		case d.refuse:
			refused = append(refused, d.text)
		}
	}
	said = append(said, setup(at.Setup, to.Setup, m.Path)...)
	switch {
	case len(refused) > 0:
		return unseen(m, strings.Join(refused, "; "))
	case len(done) > 0:
		return corrected(m, k, u, done), Answer{Corrected, strings.Join(append(done, said...), "; ")}
	}
	return m, Answer{Alike, strings.Join(said, "; ")}
}

func unseen(m health.Measure, why string) (health.Measure, Answer) {
	why = string(NotComparable) + " because " + why
	m.Value, m.Uncertainty, m.Status, m.Reason = math.NaN(), math.NaN(), health.NotObservable, why
	return judged(m), Answer{NotComparable, why}
}

// corrected multiplies a measure by k, which is known to the share u.
func corrected(m health.Measure, k, u float64, how []string) health.Measure {
	if m.Status == health.NotObservable {
		return m
	}
	m.Value *= k
	m.Uncertainty = math.Hypot(k*m.Uncertainty, u*m.Value)
	m.Method = strings.TrimPrefix(m.Method+"; "+strings.Join(how, "; "), "; ")
	return judged(m)
}

func judged(m health.Measure) health.Measure {
	from := m.LimitFrom
	m = health.Judge(m, m.Limit)
	m.LimitFrom = from
	return m
}
