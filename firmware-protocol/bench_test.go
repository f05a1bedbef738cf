package wire

import "testing"

// sampleFrame is a full message of a joint with both angles, as sent at 1 kHz.
func sampleFrame() *Samples {
	m := new(Samples)
	m.Start(2, HasAngle|HasMotor|HasCurrent|HasSupply, 3, 41)
	for i := int32(0); ; i++ {
		r := Record{TimeUS: uint32(1000 * i), Command: 1000*i - 30000, Angle: 990*i - 29800, Motor: 995*i - 29900, Current: 400 + i, Supply: 5980 - i}
		if !m.Add(uint16(i), r) {
			return m
		}
	}
}

func TestNoAllocations(t *testing.T) {
	var e Encoder
	m := sampleFrame()
	frame, err := e.Append(make([]byte, 0, MaxFrame), m)
	if err != nil {
		t.Fatal(err)
	}
	if n := testing.AllocsPerRun(1000, func() { frame, err = e.Append(frame[:0], m) }); n != 0 || err != nil {
		t.Errorf("encoding a frame: %g allocations (%v), want 0", n, err)
	}
	var d Decoder
	var got Samples
	if n := testing.AllocsPerRun(1000, func() {
		body, _ := d.Next(frame)
		err = got.ParseBody(body)
	}); n != 0 || err != nil {
		t.Errorf("decoding a frame: %g allocations (%v), want 0", n, err)
	}
	if got != *m {
		t.Errorf("got %+v, want %+v", got, *m)
	}
}

func BenchmarkEncode(b *testing.B) {
	var e Encoder
	m := sampleFrame()
	frame, _ := e.Append(nil, m)
	b.SetBytes(int64(len(frame)))
	b.ReportAllocs()
	for b.Loop() {
		frame, _ = e.Append(frame[:0], m)
	}
	b.ReportMetric(float64(b.N*m.N)/b.Elapsed().Seconds(), "samples/s")
}

func BenchmarkDecode(b *testing.B) {
	var e Encoder
	m := sampleFrame()
	frame, _ := e.Append(nil, m)
	var stream []byte // as much as one read of a serial port returns
	n := 4095 / len(frame)
	for range n {
		stream = append(stream, frame...)
	}
	var d Decoder
	var got Samples
	b.SetBytes(int64(len(stream)))
	b.ReportAllocs()
	for b.Loop() {
		for chunk := stream; len(chunk) > 0; {
			var body []byte
			if body, chunk = d.Next(chunk); body != nil {
				if err := got.ParseBody(body); err != nil {
					b.Fatal(err)
				}
			}
		}
	}
	b.ReportMetric(float64(b.N*n)/b.Elapsed().Seconds(), "frames/s")
	b.ReportMetric(float64(b.N*n*m.N)/b.Elapsed().Seconds(), "samples/s")
}

// BenchmarkNoise decodes bytes without a single good frame.
func BenchmarkNoise(b *testing.B) {
	noise := make([]byte, 4095)
	x := uint32(1)
	for i := range noise {
		x = x*1664525 + 1013904223 // the constants of Numerical Recipes, section 7.1
		noise[i] = byte(x >> 24)
	}
	var d Decoder
	b.SetBytes(int64(len(noise)))
	b.ReportAllocs()
	for b.Loop() {
		for chunk := noise; len(chunk) > 0; {
			_, chunk = d.Next(chunk)
		}
	}
}
