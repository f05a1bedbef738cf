package alike

import (
	"fmt"
	"math"
	"slices"
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
	return Between(at, to).Figures(m)
}

// Differences is what lies between two runs' conditions, for whoever has many figures to bring.
type Differences struct {
	at, to Conditions
	by     []difference // of each of conditions
	none   bool         // no condition and no part of the set-up differs
}

// Between compares conditions.
func Between(at, to Conditions) Differences {
	d := Differences{at: at, to: to, by: make([]difference, len(conditions)), none: true}
	for i, c := range conditions {
		d.by[i] = c.differ(at, to)
		d.none = d.none && d.by[i].text == ""
	}
	d.none = d.none && len(setup(at.Setup, to.Setup, health.NoPath)) == 0 && at.Setup.Sensors == to.Setup.Sensors
	return d
}

// None says that nothing differs that is known: every figure may stand as it is.
func (d Differences) None() bool { return d.none }

// Refusals returns by how many conditions some figures do not compare.
func (d Differences) Refusals() (n int) {
	for _, c := range d.by {
		if c.refuse && c.text != "" {
			n++
		}
	}
	return n
}

// Load says how the loads differ, "" where they do not or it is not known of both.
func (d Differences) Load() string {
	if c := d.by[loadPlace]; !c.unknown {
		return c.text
	}
	return ""
}

// WithLoadAsItIs returns the differences without those of the load, for figures that are to show
// what the load costs.
func (d Differences) WithLoadAsItIs() Differences {
	d.by = slices.Clone(d.by)
	d.by[loadPlace], d.by[swingPlace] = difference{}, difference{}
	return d
}

// Figures is the function of that name for conditions already compared.
func (d Differences) Figures(m health.Measure) (health.Measure, Answer) {
	row, ok := table[m.Name]
	if !ok {
		return unseen(m, "nothing is known of what it hangs on")
	}
	if d.none {
		return m, Answer{Kind: Alike}
	}
	var refused, said, done []string
	k, u := 1.0, 0.0 // of the whole correction; u relative to k
	for i, c := range conditions {
		r, diff := c.rule(row, m.Path), d.by[i]
		switch {
		case diff.text == "" || r.kind == free:
		case diff.unknown:
			said = append(said, diff.text)
		case r.kind == say:
			said = append(said, diff.text+", which may show in it a little")
		case r.kind == law && diff.law:
			f := r.law.factor(d.at, d.to)
			if f.why != "" {
				refused = append(refused, diff.text+", and "+f.why)
				continue
			}
			k, u = k*f.k, math.Hypot(u, f.u/f.k)
			done = append(done, fmt.Sprintf("%s: times %.3f by %s", diff.text, f.k, r.law.name))
		case r.kind == refuse && diff.refuse:
			refused = append(refused, diff.text)
		}
	}
	said = append(said, setup(d.at.Setup, d.to.Setup, m.Path)...)
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
