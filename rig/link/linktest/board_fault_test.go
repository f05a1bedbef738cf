package linktest

import (
	"testing"
	"time"

	wire "limbgauge/firmware-protocol"
	"limbgauge/firmware-protocol/avr/emulated"
)

// TestEmulatedBoardBlinks lets the bus fail for less than trips it, again and again: no sample may show what another register of a
// sensor held, and all sensors come back.
func TestEmulatedBoardBlinks(t *testing.T) {
	b := &board{emulated.Need(t).Run(t, "-x", halfSpeed)}
	bench := b.allArmed(t)
	wait := func(us float64) {
		for until := b.figures(t).SimUS + us; b.figures(t).SimUS < until; time.Sleep(time.Millisecond) {
		}
	}
	for range 6 {
		for _, fault := range []string{"bus dead", "bus stuck", "sensor 1 dead"} {
			b.do(t, fault)
			wait(30_000)
			b.do(t, "bus ok")
			b.do(t, "sensor 1 ok")
			wait(40_000)
		}
	}
	if st := bench.status(); st.State != wire.StateArmed || st.Joint[0].Dropped != 0 {
		t.Errorf("%s by %s, %d samples dropped; want it armed and none", st.State, st.Trip, st.Joint[0].Dropped)
	}
	const all = wire.HasAngle | wire.HasCurrent | wire.HasSupply
	for ch := range bench.opt.Joints {
		n, blind := 0, 0
		var last wire.Samples
		for _, last = range bench.got(uint8(ch)) {
			for _, r := range last.Rec[:last.N] {
				n++
				if last.Has != all {
					blind++
				}
				// It holds where it hung, 0 deg, at 6.2 V and some tenths of an ampere.
				if last.Has&wire.HasAngle != 0 && max(r.Angle, -r.Angle) > 5_000 ||
					last.Has&wire.HasCurrent != 0 && max(r.Current, -r.Current) > 700 ||
					last.Has&wire.HasSupply != 0 && (r.Supply < 5_500 || r.Supply > 6_500) {
					t.Fatalf("joint %d, sample %d: %+v of fields %x", ch, n, r, last.Has)
				}
			}
		}
		t.Logf("joint %d: %d of %d samples without all fields", ch, blind, n)
		if blind < 200 || blind > n*2/3 || last.Has != all {
			t.Errorf("joint %d: %d of %d samples without all fields, the last %x", ch, blind, n, last.Has)
		}
	}
}
