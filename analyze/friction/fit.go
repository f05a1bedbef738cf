package friction

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"limbgauge/analyze/filter"
	"limbgauge/analyze/stats"
)

// Term is one part of the torque, linear in its parameter.
type Term string

// The terms.
const (
	Inertia    Term = "inertia"     // J·acc, kg·m²
	Viscous    Term = "viscous"     // B·v, N·m·s/rad
	Coulomb    Term = "coulomb"     // T_c·sgn v, N·m
	GravitySin Term = "gravity_sin" // N·m per sin θ
	GravityCos Term = "gravity_cos" // N·m per cos θ
	Offset     Term = "offset"      // N·m
	// CoulombSkew is how far friction differs between the directions, N·m: T_c+ less T_c- is twice
	// this. It is the same column as Offset, so only one of the two can be in a model.
	CoulombSkew Term = "coulomb_skew"
	// ViscousSkew is the same for the viscous part: B·v + D·|v|, N·m·s/rad.
	ViscousSkew Term = "viscous_skew"
)

// Model is the list of terms to fit.
type Model struct {
	Terms []Term
	// Known holds parameters that are given, not fitted (the builder's inertia, say).
	Known map[Term]float64
	// StillBelow is the speed below which the sign of motion is not known; such samples are left out.
	StillBelow float64
}

// Parameters is the outcome of a fit.
type Parameters struct {
	Of       map[Term]stats.Estimate // unseen terms say why
	Cond     float64                 // condition number of the columns scaled to unit length
	N        int                     // independent readings
	S        float64                 // N·m, residual standard deviation
	RelError float64                 // norm of the residuals over norm of the torque
}

const (
	// identified is the greatest relative standard uncertainty of a parameter that counts as seen
	// (common practice: 10 to 30 %).
	identified = 0.3
	// conditionMax is the greatest condition number of the scaled columns (common practice).
	conditionMax = 100
	// speedSpan is how much the speeds of a motion must differ for Coulomb and viscous friction to
	// be told apart, as the ratio of the greatest to the least.
	speedSpan = 1.3
)

// column returns a term's column over a motion.
func (m Motion) column(t Term) []float64 {
	out := make([]float64, len(m.Speed))
	for i := range out {
		switch t {
		case Inertia:
			out[i] = m.Acc[i]
		case Viscous:
			out[i] = m.Speed[i]
		case Coulomb:
			out[i] = stats.Sign(m.Speed[i])
		case GravitySin:
			out[i] = math.Sin(m.Angle[i])
		case GravityCos:
			out[i] = math.Cos(m.Angle[i])
		case ViscousSkew:
			out[i] = math.Abs(m.Speed[i])
		case Offset, CoulombSkew:
			out[i] = 1
		default:
			panic("friction: unknown term " + string(t))
		}
	}
	return out
}

// FitModel fits the terms by linear least squares, columns and torque thinned alike. A parameter the
// motion does not show is unseen, for one of these reasons: one direction only (friction and load
// merge), speeds all alike (Coulomb and viscous merge), ill-conditioned columns, or an uncertainty
// above 30 % of the value. Offsets and skews are differences that may well be zero; they are seen
// however large their relative uncertainty.
func FitModel(m Motion, model Model) (Parameters, error) {
	cols, y, err := prepareColumns(m, model)
	if err != nil {
		return Parameters{}, err
	}
	fit, err := stats.OLS(cols, y)
	if err != nil {
		return Parameters{}, fmt.Errorf("fit friction: %w", err)
	}
	p := Parameters{Of: map[Term]stats.Estimate{}, Cond: fit.Cond, N: fit.N, S: fit.S}
	var norm float64
	for _, v := range y {
		norm += v * v
	}
	p.RelError = math.Sqrt(fit.RSS / norm)
	for j, t := range model.Terms {
		e := fit.Estimate(j)
		if why := hidden(m, model, t, e, fit.Cond); why != "" {
			e = stats.Unseen("%s", why)
		}
		p.Of[t] = e
	}
	return p, nil
}

func prepareColumns(m Motion, model Model) (cols [][]float64, y []float64, err error) {
	m = m.moving(model.StillBelow)
	y = append([]float64(nil), m.Torque...)
	for t, k := range model.Known {
		for i, v := range m.column(t) {
			y[i] -= k * v
		}
	}
	for _, t := range model.Terms {
		cols = append(cols, m.column(t))
	}
	if m.Thin > 1 {
		for j := range cols {
			if cols[j], err = filter.Decimate(cols[j], m.Thin); err != nil {
				return nil, nil, fmt.Errorf("fit friction: %w", err)
			}
		}
		if y, err = filter.Decimate(y, m.Thin); err != nil {
			return nil, nil, fmt.Errorf("fit friction: %w", err)
		}
	}
	return cols, y, nil
}

// moving leaves out the samples slower than v. A gap would spoil a later filter, so a motion that is
// to be thinned has to keep all its samples.
func (m Motion) moving(v float64) Motion {
	if v <= 0 {
		return m
	}
	if m.Thin > 1 {
		panic("friction: StillBelow and decimation exclude one another")
	}
	out := Motion{Thin: 1}
	for i, s := range m.Speed {
		if math.Abs(s) >= v {
			out.Angle = append(out.Angle, m.Angle[i])
			out.Speed = append(out.Speed, s)
			out.Acc = append(out.Acc, m.Acc[i])
			out.Torque = append(out.Torque, m.Torque[i])
		}
	}
	return out
}

func hidden(m Motion, model Model, t Term, e stats.Estimate, cond float64) string {
	up, down, slow, fast := m.directions(model.StillBelow)
	isFriction := t == Coulomb || t == Viscous
	switch {
	case isFriction && (up == 0 || down == 0):
		return "the joint moved in one direction only, so friction and load cannot be told apart"
	case isFriction && model.has(Coulomb) && model.has(Viscous) && fast < speedSpan*slow:
		return "all speeds are alike, so dry and viscous friction cannot be told apart"
	case cond > conditionMax:
		return fmt.Sprintf("the motion does not separate the terms (condition number %.0f)", cond)
	case t == Offset || t == CoulombSkew || t == ViscousSkew || t == GravityCos || t == GravitySin:
		return ""
	case !(e.U <= identified*math.Abs(e.Value)):
		return fmt.Sprintf("%.3g with a standard uncertainty of %.2g: this motion does not show it", e.Value, e.U)
	}
	return ""
}

func (model Model) has(t Term) bool {
	for _, x := range model.Terms {
		if x == t {
			return true
		}
	}
	return false
}

// directions counts the samples either way and returns the slow and fast speeds of the motion (10 %
// and 90 % quantile of the size).
func (m Motion) directions(still float64) (up, down int, slow, fast float64) {
	var v []float64
	for _, s := range m.Speed {
		if math.Abs(s) < still || s == 0 {
			continue
		}
		v = append(v, math.Abs(s))
		if s > 0 {
			up++
		} else {
			down++
		}
	}
	v = stats.Sorted(v)
	return up, down, stats.Quantile(0.1, v), stats.Quantile(0.9, v)
}

// part is what one cycle brings to a fit.
type part struct {
	cols [][]float64
	y    []float64
}

// partsOf prepares each cycle by itself. A fit asks nothing of its rows but their products, so those of
// a long cycle are turned (Householder QR) into as many as there are columns: a fit of many cycles then
// costs the same however long they are.
func partsOf(cycles []Motion, model Model) ([]part, error) {
	parts := make([]part, len(cycles))
	for i, m := range cycles {
		cols, y, err := prepareColumns(m, model)
		if err != nil {
			return nil, err
		}
		parts[i] = part{cols, y}
		if n, p := len(y), len(cols)+1; n > p {
			parts[i] = part{cols, y}.turned()
		}
	}
	return parts, nil
}

// turned returns the rows of the triangle R of columns and readings, which have the products of all rows.
func (r part) turned() part {
	all := append(slices.Clone(r.cols), r.y)
	a := mat.NewDense(len(r.y), len(all), nil)
	for j, c := range all {
		a.SetCol(j, c)
	}
	var qr mat.QR
	qr.Factorize(a)
	var tri mat.Dense
	qr.RTo(&tri)
	for j := range all {
		all[j] = make([]float64, len(all))
		for i := range len(all) {
			all[j][i] = tri.At(i, j)
		}
	}
	return part{all[:len(all)-1], all[len(all)-1]}
}

// FitCycles fits all cycles together and takes the uncertainty from resampling whole cycles, which
// holds although the samples of a cycle are correlated. Each motion is one cycle.
func FitCycles(cycles []Motion, model Model, replicas int, seed uint64) (map[Term]stats.Boot, Parameters, error) {
	all, err := FitModel(Join(cycles...), model)
	if err != nil {
		return nil, all, err
	}
	parts, err := partsOf(cycles, model)
	if err != nil {
		return nil, all, err
	}
	boots := stats.CycleBootstrap(len(cycles), replicas, len(model.Terms), seed, func(pick []int, out []float64) {
		cols, y := make([][]float64, len(model.Terms)), []float64(nil)
		for _, c := range pick {
			for j := range cols {
				cols[j] = append(cols[j], parts[c].cols[j]...)
			}
			y = append(y, parts[c].y...)
		}
		if fit, err := stats.OLS(cols, y); err == nil {
			copy(out, fit.Coef)
		}
	})
	of := map[Term]stats.Boot{}
	for j, t := range model.Terms {
		if why := all.Of[t].Unseen; why != "" {
			boots[j].Estimate = stats.Unseen("%s", why)
		}
		of[t] = boots[j]
	}
	return of, all, nil
}
