package drive

import (
	"errors"
	"fmt"
	"math"

	"limbgauge/analyze/stats"
)

// StallInput is one joint's samples. Angle is the motor side where it is measured: on the joint side
// the deflection under load looks like a servo that lags. Supply may be nil. NaN is not measured.
type StallInput struct {
	Time    []float64 // s
	Command []float64 // deg
	Angle   []float64 // deg
	Current []float64 // A, supply lead
	Supply  []float64 // V
}

// StallRule says what counts as a stall. DefaultStallRule fills the thresholds, which are common
// practice and stay settings.
type StallRule struct {
	Rated []Rating
	Volts float64 // used where the supply was not measured; 0 is the highest rated voltage
	// DeadbandDeg is the error the servo leaves uncorrected. Where Angle is on the joint side, add the
	// deflection expected under the load.
	DeadbandDeg float64

	Deadbands    float64 // error above this many dead bands: commanded to move
	SpeedShare   float64 // speed below this share of no-load: not moving
	CurrentShare float64 // current above this share of the stall current: trying
	MinS         float64 // for longer than this

	// A record that ends within MinS cannot fulfil the rule. It ends in a stall when the motor tried
	// for CutMinS or more up to the last sample and covered less than CutTravel of the way asked.
	CutMinS   float64
	CutTravel float64
}

// DefaultStallRule returns the usual thresholds: 2 dead bands, 2 % of the no-load speed, 70 % of the
// stall current, 0.25 s; at the end of a record 80 ms (four pulse frames) and 5 % of the way.
func DefaultStallRule(rated []Rating, deadbandDeg float64) StallRule {
	return StallRule{Rated: rated, DeadbandDeg: deadbandDeg, Deadbands: 2, SpeedShare: 0.02,
		CurrentShare: 0.7, MinS: 0.25, CutMinS: 0.08, CutTravel: 0.05}
}

// Stall is one stretch in which the joint was commanded to move and stood still at high current.
type Stall struct {
	From, To int     // samples, half open
	StartS   float64 // time of the first sample
	Seconds  float64
	AngleDeg float64 // median
	ErrorDeg float64 // median of command less angle
	CurrentA float64 // mean
	Share    float64 // CurrentA over the expected stall current
	// CutShort: the record ended before the full time had passed, so Seconds is at least. A start under
	// nearly all the motor can lift looks the same at that moment, so it is a stall or such a start.
	CutShort bool
}

// ErrNoCurrent says that a stall cannot be told from a servo that is merely late.
var ErrNoCurrent = errors.New("without current a stall cannot be told from a late servo")

const (
	// smoothS averages the current over a few pulse frames.
	smoothS = 0.04
	// slopeS is the window of the speed; at 250 samples/s and 12 bit it resolves about 0.2 deg/s.
	slopeS = 0.08
	// bridgeS joins stretches that a single wild sample parts.
	bridgeS = 0.03
)

// FindStalls returns the stalls of a run in order of time.
//
// A sample is in stall when the error is above Deadbands dead bands, the speed (slope of a line over
// 80 ms) below SpeedShare of the no-load speed, and the current (mean over 40 ms) above CurrentShare
// of the stall current, both at the voltage of that sample; a stall lasts longer than MinS. At full
// torque and standstill both current laws give the same stall current, so the law need not be known.
//
// Start-up is told from stall by its length: a start draws stall current for some tens of ms. When
// the record ends in the middle, as it does when the stand trips, the motion must decide: see StallRule.
func FindStalls(in StallInput, rule StallRule) ([]Stall, error) {
	n := len(in.Time)
	if in.Current == nil {
		return nil, ErrNoCurrent
	}
	if in.Command == nil || len(in.Command) != n || len(in.Angle) != n || len(in.Current) != n {
		panic("drive: stall columns differ in length")
	}
	s, err := newStallScan(in, rule)
	if err != nil {
		return nil, fmt.Errorf("stall: %w", err)
	}
	var out []Stall
	for from := 0; from < n; from++ {
		if !s.stuck(from) {
			continue
		}
		to := s.end(from)
		if in.Time[to-1]-in.Time[from] > rule.MinS {
			out = append(out, s.stall(from, to, false))
		}
		from = to
	}
	if c, ok := s.cutShort(); ok && (len(out) == 0 || out[len(out)-1].To <= c.From) {
		out = append(out, c)
	}
	return out, nil
}

// StallSeconds returns the total time in stall, s, and whether it is a lower bound because the
// record was cut short.
func StallSeconds(stalls []Stall) (s float64, atLeast bool) {
	for _, x := range stalls {
		s += x.Seconds
		atLeast = atLeast || x.CutShort
	}
	return s, atLeast
}

// stallScan asks of one sample after another whether it is in stall. Most fail the first, cheapest
// question, so nothing is computed before it is asked for.
type stallScan struct {
	in    StallInput
	rule  StallRule
	base  Motor   // at the voltage that stands for one that was not measured
	motor Motor   // at the voltage asked for last
	least float64 // no stall current of the run is less
	amps  window  // smoothed current
}

func newStallScan(in StallInput, rule StallRule) (*stallScan, error) {
	if rule.Volts == 0 {
		for _, r := range rule.Rated {
			rule.Volts = math.Max(rule.Volts, r.Volts)
		}
	}
	base, err := At(rule.Rated, 0, rule.Volts)
	if err != nil {
		return nil, err
	}
	return &stallScan{in: in, rule: rule, base: base, motor: base, least: leastStall(rule.Rated, base, in.Supply),
		amps: window{t: in.Time, x: in.Current, width: smoothS}}, nil
}

// leastStall returns the least stall current at any of the voltages: it is made of straight lines between
// the ratings, so it is least at one of them or at the ends.
func leastStall(rated []Rating, base Motor, volts []float64) float64 {
	lo, hi := math.Inf(1), 0.0
	for _, v := range volts {
		if v > 0 && v < lo {
			lo = v
		}
		if v > hi {
			hi = v
		}
	}
	least := base.StallA
	for _, v := range [...]float64{lo, hi} {
		if m, err := At(rated, 0, v); err == nil {
			least = math.Min(least, m.StallA)
		}
	}
	for _, r := range rated {
		least = math.Min(least, r.StallA)
	}
	return least
}

// at returns the motor at the voltage of a sample.
func (s *stallScan) at(i int) Motor {
	if s.in.Supply == nil || !(s.in.Supply[i] > 0) {
		return s.base
	}
	if v := s.in.Supply[i]; v != s.motor.Volts {
		if m, err := At(s.rule.Rated, 0, v); err == nil { // as for base: there are ratings, and v is positive
			s.motor = m
		}
	}
	return s.motor
}

func (s *stallScan) asked(i int) bool {
	return math.Abs(s.in.Command[i]-s.in.Angle[i]) > s.rule.Deadbands*s.rule.DeadbandDeg
}

func (s *stallScan) trying(i int) bool {
	a := s.amps.mean(i)
	return a > s.rule.CurrentShare*s.least && a > s.rule.CurrentShare*s.at(i).StallA
}

func (s *stallScan) still(i int) bool {
	return math.Abs(slope(s.in.Time, s.in.Angle, i, slopeS)) < s.rule.SpeedShare*s.at(i).NoLoadDegPerS
}

func (s *stallScan) stuck(i int) bool {
	return s.asked(i) && s.trying(i) && s.still(i)
}

// end returns the sample after the stretch that begins at from, wild samples bridged.
func (s *stallScan) end(from int) int {
	last := from
	for i := from + 1; i < len(s.in.Time) && s.in.Time[i]-s.in.Time[last] <= bridgeS; i++ {
		if s.stuck(i) {
			last = i
		}
	}
	return last + 1
}

// cutShort looks at the attempt the record ends in.
func (s *stallScan) cutShort() (Stall, bool) {
	n := len(s.in.Time)
	from := n
	for from > 0 && s.asked(from-1) {
		from--
	}
	// The attempt begins where the motor begins to try; before that, dead time.
	for from < n && !s.trying(from) {
		from++
	}
	if n-from < 2 || s.in.Time[n-1]-s.in.Time[from] < s.rule.CutMinS {
		return Stall{}, false
	}
	c := s.stall(from, n, true)
	way := math.Abs(s.in.Command[n-1] - s.in.Angle[from])
	for i := from; i < n; i++ {
		if math.Abs(s.in.Angle[i]-s.in.Angle[from]) > s.rule.CutTravel*way {
			return Stall{}, false
		}
	}
	return c, c.Share > s.rule.CurrentShare
}

func (s *stallScan) stall(from, to int, cut bool) Stall {
	var e, stallA []float64
	for i := from; i < to; i++ {
		e, stallA = append(e, s.in.Command[i]-s.in.Angle[i]), append(stallA, s.at(i).StallA)
	}
	st := Stall{From: from, To: to, StartS: s.in.Time[from], Seconds: s.in.Time[to-1] - s.in.Time[from],
		AngleDeg: stats.Median(s.in.Angle[from:to]), ErrorDeg: stats.Median(e),
		CurrentA: meanSeen(s.in.Current[from:to]), CutShort: cut}
	st.Share = st.CurrentA / stats.Mean(stallA)
	return st
}

func meanSeen(x []float64) float64 {
	var sum, n float64
	for _, v := range x {
		if !math.IsNaN(v) {
			sum, n = sum+v, n+1
		}
	}
	return sum / n
}

// window is the mean of x over a stretch of time around one sample, whatever the spacing. It is cheap
// for samples that are asked for in order.
type window struct {
	t, x   []float64
	width  float64 // s
	lo, hi int     // what is in the sum
	sum, n float64
}

func (w *window) add(v, k float64) {
	if !math.IsNaN(v) {
		w.sum, w.n = w.sum+k*v, w.n+k
	}
}

// mean returns the mean around sample i, NaN when nothing was measured there.
func (w *window) mean(i int) float64 {
	from, to := w.t[i]-w.width/2, w.t[i]+w.width/2
	if i >= w.hi || w.t[w.lo] > from || w.t[w.hi-1] > to { // far ahead, or back: begin anew
		w.lo, w.sum, w.n = i, 0, 0
		for w.lo > 0 && w.t[w.lo-1] >= from {
			w.lo--
		}
		w.hi = w.lo
	}
	for ; w.hi < len(w.x) && w.t[w.hi] <= to; w.hi++ {
		w.add(w.x[w.hi], 1)
	}
	for ; w.t[w.lo] < from; w.lo++ {
		w.add(w.x[w.lo], -1)
	}
	return w.sum / w.n
}

// slope returns the slope of the line through x over a window of width s around sample i.
func slope(t, x []float64, i int, s float64) float64 {
	lo := i
	for lo > 0 && t[lo-1] >= t[i]-s/2 {
		lo--
	}
	var n, st, sx, stt, stx float64
	for k := lo; k < len(x) && t[k] <= t[i]+s/2; k++ {
		if !math.IsNaN(x[k]) {
			d := t[k] - t[i]
			n, st, sx, stt, stx = n+1, st+d, sx+x[k], stt+d*d, stx+d*x[k]
		}
	}
	return (n*stx - st*sx) / (n*stt - st*st)
}
