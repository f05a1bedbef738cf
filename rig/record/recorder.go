package record

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strconv"
	"time"

	"github.com/klauspost/compress/zstd"

	"limbgauge/rig"
)

const (
	runsName = "runs"
	// frameSpanUS is the most device time one frame holds: what a crash may cost.
	frameSpanUS = 1_000_000
	// frameLines bounds a frame where many joints sample fast.
	frameLines = 8192
)

// Recorder writes the journal of one run. It is not safe for concurrent use. After its first
// error it takes no more: what is on the disk until then stays whole.
type Recorder struct {
	disk disk
	dir  string
	file file
	info Info
	enc  *lineEncoder
	zip  *zstd.Encoder
	out  []byte

	frame           int // number of the frame being filled
	lines           int // in it
	firstUS, lastUS int64
	err             error
}

// Create makes the next free run folder of a bench and begins its journal. Two recorders never get
// the same folder. Of info it sets Run, State, Schema and, where it is zero, Started; Joints must
// hold the joints in the order Batch.Joint counts them, Calibrations what their set-ups name.
func Create(benchDir string, info Info) (*Recorder, error) {
	return create(osDisk{}, benchDir, info)
}

func create(d disk, benchDir string, info Info) (*Recorder, error) {
	if err := checkNames(info.Joints); err != nil {
		return nil, fmt.Errorf("create run: %w", err)
	}
	dir, err := makeRun(d, benchDir)
	if err != nil {
		return nil, fmt.Errorf("create run: %w", err)
	}
	info.Run, info.State, info.Schema = filepath.Base(dir), Recording, Schema
	if info.Started.IsZero() {
		info.Started = time.Now().Truncate(time.Millisecond)
	}
	err = keepCalibrations(d, dir, &info)
	if err == nil {
		err = writeInfo(d, dir, info)
	}
	if err != nil {
		// A folder without run.json would be named as damaged from then on; one that holds anything stays.
		_ = d.Remove(dir)
		return nil, fmt.Errorf("create run: %w", err)
	}
	zip, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1))
	if err != nil {
		return nil, fmt.Errorf("start zstd: %w", err)
	}
	r := &Recorder{disk: d, dir: dir, info: info, enc: newLineEncoder(), zip: zip}
	path := filepath.Join(dir, journalName)
	if r.file, err = d.Create(path); err != nil {
		return nil, fmt.Errorf("create journal: %w", err)
	}
	r.enc.enc.SetBuffer([]byte(headerText(info.Run)))
	if err := r.writeFrame(); err != nil {
		return nil, errors.Join(err, r.file.Close())
	}
	if err := d.SyncDir(dir); err != nil { // else the journal's name may be gone after a crash
		return nil, errors.Join(fmt.Errorf("create journal: %w", err), r.file.Close())
	}
	return r, nil
}

// makeRun makes the next free folder. Making a folder is atomic, so whoever comes second is told.
func makeRun(d disk, benchDir string) (string, error) {
	runs := filepath.Join(benchDir, runsName)
	if err := d.Mkdir(runs); err == nil {
		if err := d.SyncDir(benchDir); err != nil {
			return "", err
		}
	} else if !errors.Is(err, fs.ErrExist) {
		return "", err
	}
	ids, err := runIDs(d, benchDir)
	if err != nil {
		return "", err
	}
	next := 1
	if n := len(ids); n > 0 {
		next = number(ids[n-1]) + 1
	}
	for ; ; next++ {
		dir := filepath.Join(runs, fmt.Sprintf("%04d", next))
		err := d.Mkdir(dir)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil {
			return "", err
		}
		return dir, d.SyncDir(runs)
	}
}

// number returns the number of a run's name, 0 when it is none.
func number(id string) int {
	n, err := strconv.Atoi(id)
	if err != nil || n < 1 || len(id) < 4 || len(id) > 9 {
		return 0
	}
	return n
}

// checkNames holds joints to what a tag of line protocol can carry.
func checkNames(list []JointInfo) error {
	if len(list) == 0 {
		return errors.New("a run needs a joint")
	}
	seen := map[string]bool{}
	for _, j := range list {
		name := j.Setup.Name
		e := newLineEncoder()
		var b rig.Batch
		b.Append(rig.Row{})
		if e.add(name, &b, 0, 0); e.enc.Err() != nil || name == "" {
			return fmt.Errorf("joint name %q can not be recorded: use letters, digits, - and _", name)
		}
		if seen[name] {
			return fmt.Errorf("two joints are called %q", name)
		}
		seen[name] = true
	}
	return nil
}

// Dir returns the run's folder, ID its name.
func (r *Recorder) Dir() string { return r.dir }

// ID returns the run's name.
func (r *Recorder) ID() string { return r.info.Run }

// Append adds samples. They are on the disk once a second of device time is together, or after
// Flush. A batch is not kept.
func (r *Recorder) Append(b *rig.Batch) error {
	if r.err != nil {
		return r.err
	}
	if b.Joint < 0 || b.Joint >= len(r.info.Joints) {
		return fmt.Errorf("append: run %s has no joint %d", r.info.Run, b.Joint)
	}
	j := &r.info.Joints[b.Joint]
	for i, t := range b.TimeUS {
		if r.lines > 0 && (max(t, r.lastUS)-min(t, r.firstUS) >= frameSpanUS || r.lines >= frameLines) {
			if err := r.Flush(); err != nil {
				return err
			}
		}
		if r.lines == 0 {
			r.firstUS, r.lastUS = t, t
		}
		r.firstUS, r.lastUS = min(t, r.firstUS), max(t, r.lastUS)
		r.enc.add(j.Setup.Name, b, i, 0)
		r.lines++
		if j.Samples == 0 {
			j.FirstUS = t
		}
		j.LastUS = t
		j.Samples++
	}
	return nil
}

// Flush puts all samples so far on the disk as one frame.
func (r *Recorder) Flush() error {
	if r.err != nil || r.lines == 0 {
		return r.err
	}
	if err := r.enc.enc.Err(); err != nil {
		return r.fail(err)
	}
	return r.writeFrame()
}

// writeFrame compresses what the encoder holds, writes it, and begins the next frame.
func (r *Recorder) writeFrame() error {
	r.out = r.zip.EncodeAll(r.enc.enc.Bytes(), r.out[:0])
	if _, err := r.file.Write(r.out); err != nil {
		return r.fail(err)
	}
	if err := r.file.Sync(); err != nil { // not tried again: after a failed fsync nobody knows what is on the disk
		return r.fail(err)
	}
	r.frame++
	r.lines = 0
	buf := append(r.enc.enc.Bytes()[:0], framePrefix...)
	r.enc.enc.SetBuffer(append(strconv.AppendInt(buf, int64(r.frame), 10), '\n'))
	return nil
}

func (r *Recorder) fail(err error) error {
	r.err = fmt.Errorf("write journal of run %s: %w", r.info.Run, err)
	return r.err
}

// Close puts the last samples on the disk and writes down how the recording ended and what was
// lost of each joint on the way (losses may be nil). The run is not sealed by this. Close must be called
// once, whatever happened before; after an error of Append it still keeps what was written.
func (r *Recorder) Close(end End, losses []rig.Losses) error {
	err := r.Flush()
	if r.err != nil {
		end.Reason = joinReasons(end.Reason, "not all samples could be written: "+r.err.Error())
	}
	if e := r.file.Close(); err == nil && e != nil {
		err = r.fail(e)
	}
	r.info.End = end
	for i := range losses {
		r.info.Joints[i].Losses = losses[i]
	}
	if r.err != nil { // what was counted is not what is there; sealing counts again
		for i := range r.info.Joints {
			r.info.Joints[i].Samples, r.info.Joints[i].FirstUS, r.info.Joints[i].LastUS = 0, 0, 0
		}
	}
	return errors.Join(err, writeInfo(r.disk, r.dir, r.info), r.zip.Close())
}

func joinReasons(a, b string) string {
	if a == "" {
		return b
	}
	return a + "; " + b
}
