package drive

import (
	"math"
	"testing"

	"limbgauge/analyze/internal/ref"
)

func rel(t *testing.T, name string, got, want float64, from string) {
	t.Helper()
	ref.Near(t, name, got, want, 1e-4*math.Abs(want), from)
}

// Checks 5a, 5b, 5c.
func TestMotorLines(t *testing.T) {
	const from = "lines of a permanent-magnet motor"
	m := Motor{Volts: 5, StallNm: 1.2, NoLoadDegPerS: 350, IdleA: .12, StallA: 2}
	rel(t, "greatest power", m.MaxPower(), 1.83260, from)
	rel(t, "torque at 1 A", m.TorqueOf(1), .561702, from)
	eta, at := m.MaxEfficiency()
	rel(t, "greatest efficiency", eta, .570102, from)
	rel(t, "its current", at, .489898, from)
	ref.Near(t, "round trip", m.MotorCurrent(m.TorqueOf(1)), 1, 1e-12, from)

	// V 10, R 1.5 Ω, k_t = k_e = 0.12 N·m/A, no idle current.
	k := Motor{Volts: 10, StallA: 10 / 1.5, StallNm: .12 * 10 / 1.5, NoLoadDegPerS: 10 / .12 / rad}
	rel(t, "stall current", k.StallA, 6.66667, from)
	rel(t, "no-load speed, r/min", k.NoLoadDegPerS/6, 795.775, from)
	rel(t, "greatest power", k.MaxPower(), 16.6667, from)
	rel(t, "current at 0.6 N·m", k.MotorCurrent(.6), 5, from)
	rel(t, "speed at 0.6 N·m, r/min", k.Speed(.6)/6, 198.944, from)
	rel(t, "torque at that speed", k.Torque(k.Speed(.6)), .6, from)
	rel(t, "winding", Motor{Volts: 6, StallA: 2.4}.Resistance(), 2.5, "V/I_s")
	rel(t, "12.5 kg·cm", 12.5*KgCm, 1.225831, "standard acceleration of free fall")
}

// Checks 5b, 5g.
func TestVoltage(t *testing.T) {
	two := []Rating{{6, 1.4, 420, 2.4}, {5, 1.2, 350, 2.0}}
	for _, row := range []struct {
		volts, stall, speed, amps float64
		basis                     Basis
		from                      string
	}{
		{5, 1.2, 350, 2, Interpolated, "rated"},
		{5.5, 1.3, 385, 2.2, Interpolated, "half way"},
		{6, 1.4, 420, 2.4, Interpolated, "rated"},
		{7.2, 1.68, 504, 2.88, Scaled, "1.2 times the line at 6 V"},
		{2.5, .6, 175, 1, Scaled, "half the line at 5 V"},
	} {
		m, err := At(two, .12, row.volts)
		if err != nil {
			t.Fatal(err)
		}
		if m.Basis != row.basis {
			t.Errorf("%g V: %s, want %s", row.volts, m.Basis, row.basis)
		}
		rel(t, "stall torque", m.StallNm, row.stall, row.from)
		rel(t, "no-load speed", m.NoLoadDegPerS, row.speed, row.from)
		rel(t, "stall current", m.StallA, row.amps, row.from)
	}
	one, err := At([]Rating{{6, 1.4, 420, 2.4}}, .12, 5)
	if err != nil {
		t.Fatal(err)
	}
	rel(t, "stall of one line at 5 V", one.StallNm, 1.166667, "1.4·5/6")
	rel(t, "speed of one line at 5 V", one.NoLoadDegPerS, 350, "420·5/6")
	// 2.4 A through 0.2 Ω leave 5.52 V of 6 V.
	sag, err := At([]Rating{{6, 1.4, 420, 2.4}}, .12, 6-.2*2.4)
	if err != nil {
		t.Fatal(err)
	}
	rel(t, "stall at 5.52 V", sag.StallNm, 1.288, "1.4·0.92")
	rel(t, "use of 0.7 N·m there", sag.Use(-.7), .7/1.288, "torque over stall torque, whatever the sign")
	if _, err := At(nil, 0, 6); err == nil {
		t.Error("a motor without ratings was accepted")
	}
	if _, err := At(two, 0, math.NaN()); err == nil {
		t.Error("a motor without a voltage was accepted")
	}
}

// Check 5d.
func TestSupplyIsNotMotorCurrent(t *testing.T) {
	const from = "lossless bridge: supply power is motor power"
	rel(t, "standing at half torque", SupplyFraction(LawDuty, .5, 0), .25, from)
	rel(t, "moving at a quarter speed", SupplyFraction(LawDuty, .5, .25), .375, from)
	rel(t, "linear law", SupplyFraction(LawMotor, .5, .25), .5, "supply current is motor current")
	for _, law := range []Law{LawMotor, LawDuty} {
		for _, n := range []float64{0, .3, .9} {
			ref.Near(t, "inverse", TorqueFraction(law, SupplyFraction(law, .37, n), n), .37, 1e-12, "round trip")
		}
	}
	m := Motor{StallNm: 1, NoLoadDegPerS: 400, IdleA: .1, StallA: 2.1}
	lo, hi := m.TorqueFromSupply(LawUnknown, .6, 0)
	rel(t, "unknown law, least", lo, .25, "linear: 0.5/2")
	rel(t, "unknown law, most", hi, .5, "square: √0.25")
	ref.Near(t, "supply current", m.SupplyCurrent(LawDuty, -.5, 0), .6, 1e-12, "0.1 + 2·0.25")
	if !math.IsNaN(SupplyFraction(LawUnknown, .5, 0)) {
		t.Error("an unknown law gave a current")
	}
}

func TestFindLaw(t *testing.T) {
	m := Motor{StallNm: 1.4, NoLoadDegPerS: 420, IdleA: .12, StallA: 2.4}
	noise := []float64{.011, -.008, .004, -.012, .009, -.003, -.006, .01, .002, -.007}
	for _, law := range []Law{LawMotor, LawDuty} {
		var torque, amps []float64
		for i, e := range noise {
			x := .08*float64(i) - .3
			torque, amps = append(torque, x), append(amps, m.SupplyCurrent(law, x, 0)+e)
		}
		f := FindLaw(torque, amps)
		if f.Law != law {
			t.Errorf("law %q, want %q: %+v", f.Law, law, f)
		}
		e, want := f.Linear, (m.StallA-m.IdleA)/m.StallNm
		if law == LawDuty {
			e, want = f.Square, want/m.StallNm
		}
		ref.Near(t, "slope", e.Value, want, e.Expanded(), "rated lines, within its own interval")
		ref.Near(t, "idle", f.Idle.Value, .12, f.Idle.Expanded(), "as made, within its own interval")
	}
	for _, row := range []struct {
		name         string
		torque, amps []float64
	}{
		{"one level each side", []float64{.3, .3, -.3, -.3, .301}, []float64{.5, .51, .5, .49, .5}},
		{"too few", []float64{.1, .2, .3}, []float64{.2, .3, .4}},
		{"flat", []float64{0, .1, .2, .3, .4}, []float64{.1, .1001, .0999, .1, .1001}},
		{"two like levels and one", []float64{.1, .1, .2, .2, .3, .3}, []float64{.30, .38, .33, .42, .40, .49}},
	} {
		if f := FindLaw(row.torque, row.amps); f.Law != LawUnknown || f.Reason == "" {
			t.Errorf("%s: law %q, reason %q; want none and a reason", row.name, f.Law, f.Reason)
		}
	}
}

// Checks 5e, 5f.
func TestHeat(t *testing.T) {
	ref.Near(t, "rise", RiseByResistance(80, 100, 20), 63.625, 1e-9, "public exercise (printed 63.63 K)")
	rel(t, "resistance at +50 K", HotFactor(20, 70), 1.19646, "304.5/254.5 (0.00393/K gives 1.1965)")
	rel(t, "stall torque at +50 K", 1/HotFactor(20, 70), .83580, "inverse of resistance")
	th := Thermal{RthKPerW: 20, TauS: 120}
	rel(t, "final", th.Rise(2.5, 1e9), 50, "P·R_th")
	rel(t, "after 60 s", th.Rise(2.5, 60), 19.6735, "one body")
	rel(t, "time to 40 K", th.TimeTo(2.5, 40), 193.133, "one body")
	rel(t, "allowed", AllowedTime(2, .8, 120), 20.9224, "-τ ln(1 - 0.16)")
	if !math.IsInf(AllowedTime(.8, .8, 120), 1) || !math.IsInf(th.TimeTo(2.5, 50), 1) {
		t.Error("a load that may stay for ever has an end")
	}
	var time, amps []float64
	for i := range 3001 {
		time, amps = append(time, .01*float64(i)), append(amps, 2)
	}
	amps[700] = math.NaN()
	share := I2t(time, amps, .8, 120)
	trip := 0
	for share[trip] < 1 {
		trip++
	}
	ref.Near(t, "I²t reaches its limit", time[trip], 20.9224, .011, "-τ ln(1 - 0.16), to one sample")
}

// Check 5h.
func TestPulse(t *testing.T) {
	p := Pulse{TravelDeg: 180, MinUS: 500, MaxUS: 2500, DeadbandUS: 3}
	ref.Near(t, "scale", p.DegPerUS(), .09, 1e-12, "180° over 2000 µs")
	ref.Near(t, "dead band", p.DeadbandDeg(), .27, 1e-12, "3 µs")
	ref.Near(t, "delay of a frame", FrameDelayU(50), .0057735, 1e-7, "20 ms/√12")
}
