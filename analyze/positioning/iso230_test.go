package positioning

import (
	"testing"

	"limbgauge/analyze/internal/ref"
	"limbgauge/analyze/stats"
)

// record is the raw data of a public acceptance record of one linear axis (3 Nov 2021, 5 targets,
// 5 cycles), µm x 100.
var record = []struct {
	target   float64
	up, down [5]float64
}{
	{15.0, [5]float64{335, 233, 172, 213, 172}, [5]float64{518, 518, 416, 335, 314}},
	{25.2, [5]float64{-26, 15, 96, 56, 56}, [5]float64{-372, -393, -433, -413, -474}},
	{35.4, [5]float64{102, -40, 225, 306, 449}, [5]float64{-183, -163, -20, -61, 0}},
	{45.6, [5]float64{-849, -910, -788, -910, -1053}, [5]float64{-768, -809, -707, -809, -849}},
	{55.8, [5]float64{583, 624, 685, 562, 562}, [5]float64{705, 725, 705, 705, 644}},
}

func recordStops() []Stop {
	var stops []Stop
	for _, r := range record {
		for c := range 5 {
			stops = append(stops, Stop{r.target, 1, c, r.up[c] * 1e-5}, Stop{r.target, -1, c, r.down[c] * 1e-5})
		}
	}
	return stops
}

// The acceptance record prints R = max(R↑, R↓) and an E that does not follow from its own table;
// by the standard's definitions they are 0.00835 and 0.01599 (recomputed).
// Checks 1a, 1a'.
func TestAcceptanceRecord(t *testing.T) {
	r, err := Evaluate(recordStops(), Options{Replicas: 10})
	if err != nil {
		t.Fatal(err)
	}
	const from = "public acceptance record of an axis"
	rows := []struct {
		up, down, sUp, sDown, b, r float64
	}{
		{.00225, .00420, .00067, .00097, -.00195, .00523},
		{.00039, -.00417, .00046, .00039, .00456, .00628},
		{.00208, -.00085, .00188, .00083, .00294, .00835},
		{-.00902, -.00788, .00098, .00054, -.00114, .00418},
		{.00603, .00697, .00052, .00031, -.00094, .00260},
	}
	for i, w := range rows {
		g := r.Targets[i]
		ref.Near(t, "mean up", g.MeanUp, w.up, 1e-5, from)
		ref.Near(t, "mean down", g.MeanDown, w.down, 1e-5, from)
		ref.Near(t, "s up", g.SUp, w.sUp, 1e-5, from)
		ref.Near(t, "s down", g.SDown, w.sDown, 1e-5, from)
		ref.Near(t, "B_i", g.Reversal.Value, w.b, 1e-5, from)
		ref.Near(t, "R_i", g.R, w.r, 1e-5, from)
	}
	for _, f := range []struct {
		name      string
		got, want float64
		from      string
	}{
		{"B", r.Reversal.Value, .00456, from},
		{"mean B", r.MeanReversal.Value, .00070, from},
		{"M", r.MeanRange.Value, .01495, from},
		{"R up", r.RepeatUp.Value, .00751, "4·s_3↑, printed as 0.0075"},
		{"R down", r.RepeatDown.Value, .00388, "4·s_1↓, printed as 0.0039"},
		{"E up", r.SystUp.Value, .01505, from},
		{"E down", r.SystDown.Value, .01485, from},
		{"A up", r.AccUp.Value, .01807, from},
		{"A down", r.AccDown.Value, .01654, from},
		{"A", r.Acc.Value, .01857, from},
		{"R", r.Repeat.Value, .00835, "ISO 230-2 definition, recomputed"},
		{"E", r.Syst.Value, .01599, "ISO 230-2 definition, recomputed"},
	} {
		ref.Near(t, f.name, f.got, f.want, 2e-5, f.from)
	}
}

// handStops is a table that can be checked by hand: five cycles at each target are the mean plus
// d·(0, 2, -2, 1, -1), so s = d·√2.5.
func handStops() []Stop {
	up := []float64{.10, .20, .05, -.10, 0}
	down := []float64{-.40, -.35, -.55, -.70, -.50}
	var stops []Stop
	for i := range up {
		d := .01
		if i == 2 {
			d = .02
		}
		for c, k := range []float64{0, 2, -2, 1, -1} {
			at := float64(i*20 - 40)
			stops = append(stops, Stop{at, 1, c, up[i] + d*k}, Stop{at, -1, c, down[i] + d*k})
		}
	}
	return stops
}

// Check 1b: the table of handStops.
func TestClosedForm(t *testing.T) {
	r, err := Evaluate(handStops(), Options{Replicas: 500, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	const from, tol = "ISO 230-2 formulas by hand", 1e-5
	bs := []float64{.50, .55, .60, .60, .50}
	rs := []float64{.56325, .61325, .72649, .66325, .56325}
	for i, g := range r.Targets {
		ref.Near(t, "B_i", g.Reversal.Value, bs[i], tol, from)
		ref.Near(t, "R_i", g.R, rs[i], tol, from)
		u := .01
		if i == 2 {
			u = .02
		}
		ref.Near(t, "u(B_i)", g.Reversal.U, u, 1e-9, from)
		ref.Near(t, "df(B_i)", g.Reversal.DF, 8, 1e-9, "equal scatter in both directions")
	}
	for _, f := range []struct {
		name      string
		got, want float64
	}{
		{"B", r.Reversal.Value, .60}, {"mean B", r.MeanReversal.Value, .55}, {"M", r.MeanRange.Value, .325},
		{"R", r.Repeat.Value, .72649}, {"E", r.Syst.Value, .90}, {"E up", r.SystUp.Value, .30},
		{"E down", r.SystDown.Value, .35}, {"A", r.Acc.Value, .96325}, {"A up", r.AccUp.Value, .36325},
		{"A down", r.AccDown.Value, .41325},
	} {
		ref.Near(t, f.name, f.got, f.want, tol, from)
	}
}

// Check 1c: dead band, play, and friction through the compliance add up.
func TestModelReversal(t *testing.T) {
	ref.Near(t, "B", ModelReversal(.27, .5, .05, 4.5), 1.22, 1e-9, "0.27 + 0.50 + 0.45")
}

// Checks 2a, 2b: ISO 9283:1998, 7.2, by hand.
func TestPose(t *testing.T) {
	p, err := AngleRepeatability([]float64{10.02, 9.98, 10.01, 9.99, 10.00})
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "RP_a", p.RP, .047434, 1e-6, "3·√(0.001/4)")
	lo, hi := stats.SDInterval(1, 4, .95)
	ref.Near(t, "lower", p.Lo, p.RP*lo, 1e-12, "chi-square, 4 degrees of freedom")
	ref.Near(t, "upper", p.Hi, p.RP*hi, 1e-12, "chi-square, 4 degrees of freedom")
	line, err := PointRepeatability([][]float64{{10.02}, {9.98}, {10.01}, {9.99}, {10.00}})
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "RP_l of a line", line, .012+3*.0083666, 1e-6, "l̄ 0.012, S 0.0083666")
	foot, err := PointRepeatability([][]float64{{.3, .4}, {-.3, -.4}, {0, 0}, {0, 0}})
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "RP_l of a foot", foot, 1.116025, 1e-6, "l̄ 0.25, S √(1/12)")
}
