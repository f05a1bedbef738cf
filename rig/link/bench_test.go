package link

import (
	"fmt"
	"testing"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
)

// BenchmarkReceive takes what a serial port returns in one read and puts it into batches, which
// are taken out now and then.
func BenchmarkReceive(b *testing.B) {
	c := &Conn{box: newMailbox(), joints: make([]rig.Joint, 3), tally: make([]tally, 3), changed: make(chan struct{})}
	for ch := range c.index {
		c.index[ch] = min(ch, 2)
	}
	c.hz = 1000
	var enc wire.Encoder
	var dec wire.Decoder
	var m wire.Samples
	const has = wire.HasAngle | wire.HasMotor | wire.HasCurrent | wire.HasSupply
	n := wire.RecordsPerFrame(has)
	seq, us, samples := uint16(0), uint32(0), 0
	b.ReportAllocs()
	for b.Loop() {
		b.StopTimer()
		var stream []byte
		for len(stream) < 4000 {
			for j := range uint8(3) {
				m.Start(j, has, 2, 1)
				for k := range n {
					m.Add(seq+uint16(k), wire.Record{TimeUS: us + 1000*uint32(k), Command: 12000, Angle: 11900, Motor: 11950, Current: 400, Supply: 5980})
				}
				var err error
				if stream, err = enc.Append(stream, &m); err != nil {
					b.Fatal(err)
				}
				samples += n
			}
			seq, us = seq+uint16(n), us+1000*uint32(n)
		}
		b.SetBytes(int64(len(stream)))
		b.StartTimer()
		c.receive(&dec, stream)
		if c.box.held > 10_000 {
			for {
				if e, _, _ := c.box.take(); e == nil {
					break
				}
			}
		}
	}
	if c.counts.Samples != samples || c.counts.Drops.Total() != 0 {
		b.Fatalf("%d of %d samples, drops %+v", c.counts.Samples, samples, c.counts.Drops)
	}
	b.ReportMetric(float64(samples)/b.Elapsed().Seconds(), "samples/s")
}

func BenchmarkParseLine(b *testing.B) {
	joints := []rig.Joint{{Name: "yaw"}, {Name: "hip"}, {Name: "knee"}}
	line := []byte(fmt.Sprintf("sample,joint=knee command_deg=%g,joint_deg=%g,current_a=%g,supply_v=%g,seq=%du,move=\"stair\",segment=3u 81234567",
		12.5, 12.31, 0.412, 5.98, 17))
	b.SetBytes(int64(len(line)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := parseLine(line, joints); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "lines/s")
}
