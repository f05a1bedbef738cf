package wire

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
)

// onHost builds a target of the firmware's Makefile for this machine and returns the folder it is in.
func onHost(t *testing.T, target string) string {
	t.Helper()
	for _, tool := range []string{"make", "gcc"} {
		if _, err := exec.LookPath(tool); err != nil {
			if os.Getenv("LIMBGAUGE_REQUIRE_ALL") == "1" {
				t.Fatalf("the firmware's tests need %s: %v", tool, err)
			}
			t.Skipf("no %s here", tool)
		}
	}
	dir := t.TempDir()
	if out, err := exec.Command("make", "-C", "avr", target, "OUT="+dir).CombinedOutput(); err != nil {
		t.Fatalf("make %s: %v\n%s", target, err, out)
	}
	return dir + "/host/"
}

// TestFirmwareOnHost runs the firmware's own tests, in C: the vectors, moves, rules and answers of its portable
// core under the sanitizers, and gcc's analyser over all of it.
func TestFirmwareOnHost(t *testing.T) { onHost(t, "host-test") }

// decodeBytes is how many bytes TestDecodersAgree feeds to both decoders.
const decodeBytes = "LIMBGAUGE_DECODE_BYTES"

// TestDecodersAgree feeds the same bytes to the firmware's decoder and to this package's: noise, noise with many
// zeros, and frames of the vectors with a few bytes changed, lost or doubled. Both must take the same frames
// and count the same faults.
func TestDecodersAgree(t *testing.T) {
	total := 5_000_000
	if s := os.Getenv(decodeBytes); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil {
			t.Fatalf("%s: %v", decodeBytes, err)
		}
		total = n
	}
	var frames [][]byte
	for _, v := range readVectors(t) {
		frames = append(frames, bytes.Join(v.wire, nil))
	}
	decoder := onHost(t, "host-tools") + "decoder"
	for kind := range uint64(3) {
		cmd := exec.Command(decoder)
		in, err := cmd.StdinPipe()
		if err != nil {
			t.Fatal(err)
		}
		var said, wrong bytes.Buffer
		cmd.Stdout, cmd.Stderr = &said, &wrong
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		want, taken := feed(t, in, frames, kind, total/3)
		if err := cmd.Wait(); err != nil {
			t.Fatalf("the firmware's decoder: %v\n%s", err, wrong.Bytes())
		}
		if got := strings.TrimSpace(said.String()); got != want {
			t.Errorf("kind %d:\n  C %s\n Go %s", kind, got, want)
		}
		if kind == 2 && taken < total/3/200 {
			t.Errorf("only %d frames in %d bytes of changed frames", taken, total/3)
		}
		t.Logf("kind %d, %d bytes: %s", kind, total/3, want)
	}
}

// feed writes bytes of a kind to w and says what this package's decoder makes of them, in the words of avr/test/decoder.c.
func feed(t *testing.T, w io.WriteCloser, frames [][]byte, kind uint64, total int) (words string, taken int) {
	t.Helper()
	const prime, start = 1099511628211, 14695981039346656037 // FNV-1a, 64 bit
	rnd := rand.New(rand.NewPCG(kind, 1))
	var d Decoder
	digest := uint64(start)
	buf := make([]byte, 0, 1<<16)
	for total > 0 {
		buf = buf[:0]
		for len(buf) < 1<<16-2*MaxFrame {
			switch kind {
			case 0:
				buf = binary.LittleEndian.AppendUint64(buf, rnd.Uint64())
			case 1:
				buf = append(binary.LittleEndian.AppendUint64(buf, rnd.Uint64())[:len(buf)+rnd.IntN(8)], 0)
			default:
				buf = appendChanged(buf, frames[rnd.IntN(len(frames))], rnd)
			}
		}
		buf = buf[:min(len(buf), total)]
		total -= len(buf)
		if _, err := w.Write(buf); err != nil {
			t.Fatalf("the firmware's decoder stopped reading: %v", err)
		}
		for chunk := buf; len(chunk) > 0; {
			var body []byte
			if body, chunk = d.Next(chunk); body == nil {
				continue
			}
			taken++
			digest = (digest ^ uint64(len(body))) * prime
			for _, b := range body {
				digest = (digest ^ uint64(b)) * prime
			}
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	n := d.Drops()
	return fmt.Sprintf("frames %d checksum %d stuffing %d too_long %d too_short %d digest %016x",
		taken, n.Checksum, n.Stuffing, n.TooLong, n.TooShort, digest), taken
}

// appendChanged appends a frame, half of the time with something wrong in it.
func appendChanged(buf, frame []byte, rnd *rand.Rand) []byte {
	at := len(buf)
	buf = append(buf, frame...)
	k := at + rnd.IntN(len(frame))
	switch rnd.IntN(8) {
	case 0:
		buf[k] ^= 1 << rnd.IntN(8)
	case 1:
		buf[k] = byte(rnd.Uint32())
	case 2:
		buf = append(buf[:k], buf[k+1:]...)
	case 3:
		buf = append(buf[:k], append([]byte{buf[k]}, buf[k:]...)...)
	}
	return buf
}
