package rhythm

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %.9g, want %.9g within %.2g", what, got, want, within)
	}
}

// delayed makes points of a stand whose clock runs ppm fast: messages take 2 ms and an exponential delay
// of 1 ms, wait for a carrier that comes each millisecond, and now and then for a busy computer.
func delayed(rnd *rand.Rand, ppm, seconds float64) []Point {
	var p []Point
	for device := 7000.0; device < 7000+seconds; device += 1.0 / 40 {
		sent := 1000 + (device-7000)/(1+ppm*1e-6)
		got := sent + 0.002 + rnd.ExpFloat64()*0.001
		got = math.Ceil(got*1000) / 1000 // the carrier
		if rnd.IntN(100) == 0 {
			got += 0.03
		}
		got += rnd.Float64() * 50e-6
		p = append(p, Point{math.Round(device*1e6) / 1e6, got})
	}
	return p
}

// answered makes points of questions asked at random moments over such a carrier. The stand looks for them
// each 250 us by its own clock.
func answered(rnd *rand.Rand, ppm, seconds float64) []Point {
	var p []Point
	phase := rnd.Float64()
	for ask := 0.0; ask < seconds; ask += 0.03 + 0.06*rnd.Float64() {
		heard := math.Ceil(ask*1000)/1000 + 0.0001
		device := math.Ceil(heard*(1+ppm*1e-6)*4000+phase)/4000 - phase/4000
		got := device/(1+ppm*1e-6) + 0.0006 + rnd.ExpFloat64()*0.0005 // what is before it in the queue
		got = math.Ceil(got*1000)/1000 + rnd.Float64()*50e-6
		p = append(p, Point{math.Round((7000+device)*1e6) / 1e6, 1000 + got})
	}
	return p
}

// TestClockCovers: the truth lies in the 95 % interval in at least 90 of 100 draws, whatever the drift, and
// the interval says something.
func TestClockCovers(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	for _, c := range []struct {
		name                string
		make                func(*rand.Rand, float64, float64) []Point
		beat                float64
		ppm, seconds, width float64
	}{
		{"lines", delayed, BeatLines, 0, 6, 250}, {"lines", delayed, BeatLines, 40, 6, 250},
		{"lines", delayed, BeatLines, -5000, 6, 250}, {"lines", delayed, BeatLines, 20000, 6, 250},
		{"lines", delayed, BeatLines, 40, 60, 25}, {"lines", delayed, BeatLines, -5000, 60, 25},
		{"answers", answered, BeatAnswers, 0, 5, 150}, {"answers", answered, BeatAnswers, 13, 5, 150},
		{"answers", answered, BeatAnswers, 90, 5, 150}, {"answers", answered, BeatAnswers, -5000, 5, 150},
		{"answers", answered, BeatAnswers, 13, 60, 10}, {"answers", answered, BeatAnswers, 5000, 60, 10},
	} {
		held, wide := 0, 0.0
		const n = 200
		for range n {
			e := FitClock(c.make(rnd, c.ppm, c.seconds), c.beat).PPM
			if !e.Seen() {
				t.Fatal(e.Unseen)
			}
			if !e.Excludes(c.ppm) {
				held++
			}
			wide += e.Expanded() / n
		}
		t.Logf("%s, %g ppm, %g s: held %d of %d, half width %.1f ppm", c.name, c.ppm, c.seconds, held, n, wide)
		if held < n*90/100 || wide > c.width {
			t.Errorf("%s, %g ppm over %g s: held in %d of %d draws, half width %.1f ppm, want at most %g", c.name, c.ppm, c.seconds, held, n, wide, c.width)
		}
	}
}

// Without any delay the clock comes out to what rounding leaves.
func TestClockExact(t *testing.T) {
	for _, ppm := range []float64{0, 123, -5000, 4e6} {
		var p []Point
		for i := range 200 {
			host := 0.025 * float64(i)
			p = append(p, Point{math.Round(host*(1+ppm*1e-6)*1e6) / 1e6, host})
		}
		e := FitClock(p, 0).PPM
		near(t, "ppm", e.Value, ppm, max(0.5, 1e-6*ppm))
		if e.Excludes(ppm) || !(e.U > 0) {
			t.Errorf("%g ppm: %g ± %g", ppm, e.Value, e.Expanded())
		}
	}
}

func TestClockUnseen(t *testing.T) {
	still := make([]Point, 50)
	back := make([]Point, 50)
	for i := range still {
		still[i] = Point{5, float64(i)}
		back[i] = Point{-float64(i), float64(i)}
	}
	for want, p := range map[string][]Point{
		"0 messages":    nil,
		"too short":     delayed(rand.New(rand.NewPCG(1, 2)), 0, 2),
		"stands still":  still,
		"it takes 3 s":  back, // in the stand's order the host's time falls
		"24 are needed": make([]Point, 5),
	} {
		c := FitClock(p, 0)
		if c.PPM.Seen() || !strings.Contains(c.PPM.Unseen, want) {
			t.Errorf("%+v, want %q", c.PPM, want)
		}
		if l := c.Lateness(p); !math.IsNaN(l.Typical) {
			t.Errorf("lateness %+v without a clock", l)
		}
	}
}

// Delays of known quantiles: 0, 1, ..., 100 ms by turns.
func TestLateness(t *testing.T) {
	var p []Point
	for i := range 10100 {
		d := float64(i) * 0.001
		p = append(p, Point{d, d + 0.5 + float64((i*37)%101)*0.001})
	}
	l := FitClock(p, 0).Lateness(p)
	near(t, "typical", l.Typical, 0.050, 0.0005)
	near(t, "99 of 100", l.P99, 0.099, 0.0005)
	near(t, "most", l.Most, 0.100, 0.0005)
}

func TestPace(t *testing.T) {
	// 4 ms and 6 ms by turns: mean 5, SD of n = 9 steps with five of 4 and four of 6.
	times := []int64{0}
	for i := range 9 {
		times = append(times, times[i]+4000+2000*int64(i%2))
	}
	r := PaceOf(times, 200)
	near(t, "mean", r.Mean, (5*0.004+4*0.006)/9, 1e-12)
	near(t, "sd", r.SD, 0.001*math.Sqrt((5*64.0/81+4*100.0/81)/8), 1e-12) // deviations -8/9 and +10/9 ms
	near(t, "per s", r.PerS, 9/0.044, 1e-9)
	if r.Gaps != 0 || r.Least != 0.004 || r.Most != 0.006 || r.Samples != 10 {
		t.Errorf("%+v", r)
	}
	// Ten periods of 4 ms, three samples lost in the middle.
	r = PaceOf([]int64{0, 4000, 8000, 24000, 28000}, 0)
	near(t, "mean without the gap", r.Mean, 0.004, 1e-12)
	near(t, "per s with the gap", r.PerS, 4/0.028, 1e-9)
	if r.Gaps != 1 {
		t.Errorf("%+v", r)
	}
	if r := PaceOf(nil, 100); r.Samples != 0 || !math.IsNaN(r.PerS) {
		t.Errorf("of nothing: %+v", r)
	}
	if r := PaceOf([]int64{0, 100, 200}, 1e6); r.Gaps != 2 || !math.IsNaN(r.Mean) {
		t.Errorf("all gaps: %+v", r)
	}
}

func TestReading(t *testing.T) {
	const missing = math.MinInt32
	// Successive differences 2, -2, 2: noise √(12/(2·3)) = √2, in units of 0.5.
	r := ReadingOf([]int32{1, missing, 3, 1, 3}, missing, 0.5)
	near(t, "noise", r.Noise, 0.5*math.Sqrt2, 1e-12)
	near(t, "mean", r.Mean, 1, 1e-12)
	if r.N != 4 || r.Missing != 1 || r.Least != 0.5 || r.Most != 1.5 || r.Constant {
		t.Errorf("%+v", r)
	}
	// Normal noise on a slow motion: the noise is seen, not the motion.
	rnd := rand.New(rand.NewPCG(3, 4))
	x := make([]int32, 5000)
	for i := range x {
		x[i] = int32(math.Round(1000*math.Sin(float64(i)/800) + 40*rnd.NormFloat64()))
	}
	near(t, "noise on motion", ReadingOf(x, missing, 1).Noise, 40, 1.5)
	if r := ReadingOf(make([]int32, 10), missing, 1); !r.Constant || r.Noise != 0 {
		t.Errorf("of a constant: %+v", r)
	}
	if r := ReadingOf([]int32{missing, missing}, missing, 1); r.N != 0 || r.Constant || !math.IsNaN(r.Mean) {
		t.Errorf("of nothing: %+v", r)
	}
	if r := ReadingOf([]int32{math.MaxInt32, -math.MaxInt32}, missing, 1); !(r.Noise > 1e9) {
		t.Errorf("of the extremes: %+v", r)
	}
}
