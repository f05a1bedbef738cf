package record

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"

	"limbgauge/rig"
)

// A frame begins with a comment line that carries its number, so that a frame gone missing shows.
// Frame 0 holds no samples but says what the file is.
const framePrefix = "# frame "

func headerText(run string) string {
	return framePrefix + "0\n" +
		"# limbgauge journal " + strconv.Itoa(Schema) + ", run " + strconv.Quote(run) + "\n" +
		"# one line of line protocol per sample; timestamps are ns of device time since power-up\n" +
		"# units are in the names: mdeg, mA, mV, mN·m (mnm), 0.01 degC (cdeg)\n"
}

// Journal is what a journal holds.
type Journal struct {
	Joints  []string
	Batches []*rig.Batch // one per joint
	Frames  int          // intact, the header included
	Damage  []*CorruptError
}

// Torn says whether the only damage is at the very end: what a crash leaves behind.
func (j *Journal) Torn() bool {
	return len(j.Damage) == 1 && (errors.Is(j.Damage[0], ErrTorn) || errors.Is(j.Damage[0], ErrEmpty))
}

// readJournal reads all that is whole in a journal. Joints come in the order of names, others
// after them. Damage is no error: it is listed in the result.
func readJournal(d disk, path string, names []string) (*Journal, error) {
	data, err := d.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read journal: %w", err)
	}
	s, err := newScanner(data)
	if err != nil {
		return nil, err
	}
	defer s.zd.Close()
	r := journalReader{path: path, into: newJoints(names)}
	if len(data) == 0 {
		r.damaged(stretch{err: ErrEmpty})
	}
	for {
		st, ok := s.next()
		if !ok {
			break
		}
		r.take(st)
	}
	r.out.Joints, r.out.Batches = r.into.names, r.into.batches
	return &r.out, nil
}

// journalReader keeps count while the frames of a journal go by.
type journalReader struct {
	path   string
	into   *joints
	out    Journal
	frame  int   // number of the next frame
	lastUS int64 // greatest time so far
	any    bool
}

func (r *journalReader) damaged(st stretch) {
	r.out.Damage = append(r.out.Damage, &CorruptError{Path: r.path, Frame: r.frame, Offset: int64(st.offset),
		Length: int64(st.length), WholeToUS: r.lastUS, WholeTo: r.any, Err: st.err})
	r.frame++
}

func (r *journalReader) take(st stretch) {
	if st.err != nil {
		r.damaged(st)
		return
	}
	if n, ok := frameNumber(st.content); ok {
		if n > r.frame {
			// The numbers between went with the damage before; without any the frames are simply gone.
			if k := len(r.out.Damage); k == 0 || r.out.Damage[k-1].Offset+r.out.Damage[k-1].Length != int64(st.offset) {
				r.damaged(stretch{offset: st.offset, err: fmt.Errorf("%w: frames %d to %d are gone", ErrMissing, r.frame, n-1)})
			}
		}
		r.frame = n
	}
	r.out.Frames++
	lines, last, err := decodeLines(st.content, r.into)
	if err != nil {
		r.damaged(stretch{offset: st.offset, length: st.length, err: fmt.Errorf("%w: %w", ErrDamaged, err)})
		r.frame--
	}
	if lines > 0 && (!r.any || last > r.lastUS) {
		r.lastUS, r.any = last, true
	}
	r.frame++
}

// frameNumber reads the comment a frame begins with.
func frameNumber(content []byte) (int, bool) {
	rest, ok := bytes.CutPrefix(content, []byte(framePrefix))
	if !ok {
		return 0, false
	}
	line, _, _ := bytes.Cut(rest, []byte("\n"))
	n, err := strconv.Atoi(string(line))
	return n, err == nil && n >= 0
}
