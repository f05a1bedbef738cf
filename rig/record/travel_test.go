package record

import (
	"math"
	"math/rand/v2"
	"testing"

	"limbgauge/rig"
)

// strokes builds an angle in mdeg: way points in deg at a rate, each with a rest behind it, 250 Hz.
func strokes(rateDegPerS, restS float64, points ...float64) []int32 {
	const hz = 250
	var out []int32
	at := points[0]
	hold := func() {
		for range int(restS * hz) {
			out = append(out, int32(math.Round(at*1000)))
		}
	}
	hold()
	for _, p := range points[1:] {
		n := max(1, int(math.Ceil(math.Abs(p-at)/rateDegPerS*hz)))
		from := at
		for k := 1; k <= n; k++ {
			at = from + (p-from)*float64(k)/float64(n)
			out = append(out, int32(math.Round(at*1000)))
		}
		hold()
	}
	return out
}

// seenBy rounds an angle as an encoder of so many counts does, after noise of a standard deviation in deg.
func seenBy(angle []int32, counts int, sigma float64, r *rand.Rand) []int32 {
	step := 360_000 / float64(counts)
	out := make([]int32, len(angle))
	for i, v := range angle {
		out[i] = int32(math.Round(math.Round((float64(v)+1000*sigma*r.NormFloat64())/step) * step))
	}
	return out
}

func batchOf(angle []int32) *rig.Batch {
	b := &rig.Batch{}
	for i, v := range angle {
		b.Append(rig.Row{TimeUS: int64(4000 * i), Angle: v, Motor: rig.Missing, Current: rig.Missing, Supply: rig.Missing, Torque: rig.Missing, Temp: rig.Missing})
	}
	return b
}

func repeat(n int, points ...float64) (out []float64) {
	for range n {
		out = append(out, points...)
	}
	return append(out, points[0])
}

// Travel and reversals of motions whose sums are known: n strokes up and down by A make 2nA and
// 2n - 1; a stair makes no turn on its way; a joint at rest makes nothing, for an hour too.
func TestTravelClosedForm(t *testing.T) {
	for _, c := range []struct {
		name  string
		angle []int32
		deg   float64
		turns int
		lost  float64 // deg at each turn and at the ends to the median of three, where the joint does not rest there
	}{
		{"ten sweeps", strokes(30, 0.5, repeat(10, -60, 60)...), 2 * 10 * 120, 19, 0},
		{"a triangle without rests", strokes(60, 0, repeat(50, 0, 10)...), 2 * 50 * 10, 99, 2 * 60.0 / 250},
		{"one way", strokes(20, 1, -50, 40), 90, 0, 0},
		{"a stair", strokes(20, 1, -40, -20, 0, 20, 40, 20, 0, -20, -40), 160, 1, 0},
		{"small ways beside great ones", strokes(20, 0.5, 0, 50, 49, 50, 0), 102, 3, 0},
		{"rest", strokes(20, 600, 12.34), 0, 0, 0},
		{"rest between two steps of the encoder", strokes(20, 600, 360.0/4096*100.5), 0, 0, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			setup := rig.DefaultJoint(0)
			if deg, turns, ok := travel(batchOf(c.angle), setup); !ok || turns != c.turns || math.Abs(deg-c.deg) > 1e-9+c.lost*float64(c.turns+1) {
				t.Errorf("exact: %g deg, %d turns, %v; want %g, %d", deg, turns, ok, c.deg, c.turns)
			}
			// Noise of 0.06 deg stands out of a turn by less than 0.3 deg; at rest it makes nothing at all.
			within := (0.3 + c.lost) * float64(c.turns+1)
			if c.deg == 0 {
				within = 0
			}
			for seed := range uint64(5) {
				r := rand.New(rand.NewPCG(seed, 7))
				for _, e := range []struct {
					counts int
					sigma  float64
				}{{4096, 0}, {4096, 0.03}, {16384, 0.03}, {1 << 20, 0.06}} {
					setup.Sensors.JointCounts = e.counts
					deg, turns, ok := travel(batchOf(seenBy(c.angle, e.counts, e.sigma, r)), setup)
					if !ok || turns != c.turns || math.Abs(deg-c.deg) > within {
						t.Errorf("%d counts, noise %g deg: %g deg, %d turns, %v; want %g, %d", e.counts, e.sigma, deg, turns, ok, c.deg, c.turns)
					}
				}
			}
		})
	}
}

// A wild reading is no travel, lost ones are bridged, and an angle that was not seen is not known
// rather than zero.
func TestTravelOfPoorSamples(t *testing.T) {
	setup := rig.DefaultJoint(0)
	setup.Belt = &rig.Belt{Teeth: 20, PitchMM: 2, Ratio: 2}
	clean := strokes(30, 0.5, repeat(10, -60, 60)...)
	change := func(f func(i int, v int32) int32) *rig.Batch {
		b := batchOf(clean)
		for i, v := range b.Angle {
			b.Angle[i] = f(i, v)
		}
		return b
	}
	motor := change(func(int, int32) int32 { return rig.Missing })
	for i, v := range clean {
		motor.Motor[i] = 2 * v
	}
	for _, c := range []struct {
		name  string
		b     *rig.Batch
		known bool
	}{
		{"wild readings", change(func(i int, v int32) int32 {
			if i%500 == 250 {
				return 170_000
			}
			return v
		}), true},
		{"one in twelve lost", change(func(i int, v int32) int32 {
			if i%12 == 5 {
				return rig.Missing
			}
			return v
		}), true},
		{"the motor side, by the ratio of the belt", motor, true},
		{"one in five lost", change(func(i int, v int32) int32 {
			if i%5 == 0 {
				return rig.Missing
			}
			return v
		}), false},
		{"no angle", change(func(int, int32) int32 { return rig.Missing }), false},
		{"two samples", batchOf(clean[:2]), false},
		{"none", batchOf(nil), false},
	} {
		deg, turns, ok := travel(c.b, setup)
		if ok != c.known || ok && (turns != 19 || math.Abs(deg-2400) > 2) || !ok && (deg != 0 || turns != 0) {
			t.Errorf("%s: %g deg, %d turns, %v", c.name, deg, turns, ok)
		}
	}
}

// The noise that sets the gate is found while the joint moves too.
func TestEncoderNoise(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, sigma := range []float64{0.01, 0.05, 0.2} {
		got := encoderNoise(seenBy(strokes(60, 0.2, repeat(20, -60, 60)...), 1<<22, sigma, r)) / 1000
		if math.Abs(got/sigma-1) > 0.1 {
			t.Errorf("noise of %g deg is taken for %g", sigma, got)
		}
	}
}

// A supply of 6 V whose leads drop 0.2 V/A: at rest at 0.12 A it is 5.976 V, however long it works.
func TestRestVoltage(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	var b rig.Batch
	for i := range 20_000 {
		amps := 0.12
		if i%5 > 0 { // at work four fifths of the time
			amps = 0.5 + r.Float64()
		}
		b.Append(rig.Row{TimeUS: int64(4000 * i), Angle: 0, Motor: rig.Missing, Current: int32(math.Round(1000 * (amps + 0.01*r.NormFloat64()))),
			Supply: int32(math.Round(1000 * (6 - 0.2*amps + 0.01*r.NormFloat64()))), Torque: rig.Missing, Temp: rig.Missing})
	}
	if v, ok := restVoltage(&b); !ok || math.Abs(v-5.976) > 0.002 {
		t.Errorf("%g V, %v; want 5.976", v, ok)
	}
	for i := range b.Current {
		b.Current[i] = rig.Missing
	}
	if v, ok := restVoltage(&b); !ok || v < 5.85 || v > 6 {
		t.Errorf("without a current: %g V, %v", v, ok)
	}
	if v, ok := restVoltage(batchOf(strokes(20, 1, 0, 10))); ok {
		t.Errorf("no voltage seen, and yet %g V", v)
	}
}

// What sealing counts stands in run.json, of an imported log as of a recording.
func TestTravelIsKept(t *testing.T) {
	dir := t.TempDir()
	setup := rig.DefaultJoint(0)
	setup.Name = "knee"
	b := batchOf(strokes(30, 0.5, repeat(10, -60, 60)...))
	for i := range b.Supply {
		b.Supply[i], b.Current[i] = 5990, 120
	}
	joints := []JointInfo{{Setup: setup}}
	if _, err := Import(dir, Info{Leg: "fore-left", Joints: joints}, []*rig.Series{rig.SeriesOf("knee", b)}); err != nil {
		t.Fatal(err)
	}
	r, err := Create(dir, Info{Leg: "fore-left", Joints: joints})
	if err != nil {
		t.Fatal(err)
	}
	if err := r.Append(b); err != nil {
		t.Fatal(err)
	}
	if err := r.Close(End{How: Complete}, nil); err != nil {
		t.Fatal(err)
	}
	if _, err := Seal(r.Dir()); err != nil {
		t.Fatal(err)
	}
	entries, err := List(dir)
	if err != nil || len(entries) != 2 {
		t.Fatal(entries, err)
	}
	for _, e := range entries {
		j := e.Info.Joints[0]
		if j.TravelDeg == nil || j.Reversals == nil || j.SupplyRestV == nil {
			t.Fatalf("run %s: %+v", e.ID, j)
		}
		if *j.TravelDeg != 2400 || *j.Reversals != 19 || *j.SupplyRestV != 5.99 {
			t.Errorf("run %s: %g deg, %d turns, %g V", e.ID, *j.TravelDeg, *j.Reversals, *j.SupplyRestV)
		}
	}
}
