package record

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"

	"limbgauge/rig"
)

// Seal turns a run's journal into its sealed file and removes the journal once that file was read
// back and is equal. It may be called again after a crash at any point, and does nothing to a run
// that is sealed. What was damaged in the journal is noted in the run's Info; a journal with
// damage in its middle is not removed but kept as journal.damaged.lp.zst. A run that is being
// recorded gives ErrInUse.
func Seal(dir string) (Info, error) { return seal(osDisk{}, dir) }

func seal(d disk, dir string) (Info, error) {
	info, err := readInfo(d, dir)
	if err != nil {
		return info, err
	}
	path := filepath.Join(dir, journalName)
	unlock, err := d.Lock(path)
	if errors.Is(err, fs.ErrNotExist) {
		return sealWithoutJournal(d, dir, info)
	}
	if err != nil {
		return info, fmt.Errorf("seal run %s: %w", info.Run, err)
	}
	defer unlock()
	j, err := readJournal(d, path, setupNames(info))
	if err != nil {
		return info, fmt.Errorf("seal run %s: %w", info.Run, err)
	}
	adopt(&info, j.Joints)
	info.closeIfCut(j)
	for _, c := range j.Damage {
		note := fmt.Sprintf("frame %d at byte %d of the journal: %v", c.Frame, c.Offset, c.Err)
		if !slices.Contains(info.Notes, note) {
			info.Notes = append(info.Notes, note)
		}
	}
	if err := writeSealed(d, dir, &info, j.Batches); err != nil {
		return info, fmt.Errorf("seal run %s: %w", info.Run, err)
	}
	// Only now does the journal go: everything in it stands in a file that was read back.
	if len(j.Damage) > 0 && !j.Torn() {
		err = d.Rename(path, filepath.Join(dir, damagedName))
	} else {
		err = d.Remove(path)
	}
	if err == nil {
		err = d.SyncDir(dir)
	}
	if err != nil {
		return info, fmt.Errorf("seal run %s: remove the journal: %w", info.Run, err)
	}
	return info, nil
}

// sealWithoutJournal is the end of a seal that crashed after its journal was gone.
func sealWithoutJournal(d disk, dir string, info Info) (Info, error) {
	if info.State == Sealed {
		return info, nil
	}
	if _, err := d.ReadFile(filepath.Join(dir, sealedName)); err != nil {
		return info, noSamples(dir)
	}
	info.State = Sealed
	return info, writeInfo(d, dir, info)
}

// writeSealed writes the sealed file and then the info of a sealed run, both in the durable order.
func writeSealed(d disk, dir string, info *Info, batches []*rig.Batch) error {
	data, err := encodeSealed(setupNames(*info), batches)
	if err != nil {
		return fmt.Errorf("encode samples: %w", err)
	}
	path := filepath.Join(dir, sealedName)
	if err := replaceFile(d, path, data); err != nil {
		return err
	}
	if err := compareSealed(d, path, setupNames(*info), batches); err != nil {
		return errors.Join(err, d.Remove(path)) // the journal still has everything
	}
	info.State = Sealed
	info.count(batches)
	info.observe(batches)
	return writeInfo(d, dir, *info)
}

func compareSealed(d disk, path string, names []string, want []*rig.Batch) error {
	data, err := d.ReadFile(path)
	if err != nil {
		return fmt.Errorf("read back: %w", err)
	}
	got, err := openSealed(path, data, names)
	if err != nil {
		return fmt.Errorf("read back: %w", err)
	}
	if len(got.names) != len(want) {
		return fmt.Errorf("read back: %w: %d joints instead of %d", ErrMismatch, len(got.names), len(want))
	}
	for k := range want { // one at a time: what was recorded is in memory already
		b, err := got.batch(k)
		if err != nil {
			return fmt.Errorf("read back: %w", err)
		}
		if !equalBatch(b, want[k]) {
			return fmt.Errorf("read back: %w in joint %q", ErrMismatch, names[k])
		}
	}
	return nil
}

func equalBatch(a, b *rig.Batch) bool {
	same := slices.Equal(a.TimeUS, b.TimeUS) && slices.Equal(a.Move, b.Move) && slices.Equal(a.Segment, b.Segment)
	for _, c := range columns() {
		same = same && slices.Equal(*c.Batch(a), *c.Batch(b))
	}
	return same
}

func setupNames(info Info) []string {
	names := make([]string, len(info.Joints))
	for i, j := range info.Joints {
		names[i] = j.Setup.Name
	}
	return names
}

// adopt adds joints that only the samples name, so that nothing recorded is left behind.
func adopt(info *Info, names []string) {
	for _, n := range names[len(info.Joints):] {
		j := rig.DefaultJoint(len(info.Joints))
		j.Name = n
		info.Joints = append(info.Joints, JointInfo{Setup: j})
		info.Notes = append(info.Notes, fmt.Sprintf("joint %q is in the samples but not in the set-up of the run", n))
	}
}

// closeIfCut says of a recording that nobody closed that it was cut.
func (i *Info) closeIfCut(j *Journal) {
	if i.End.How != "" {
		return
	}
	var last int64
	for _, b := range j.Batches {
		if n := b.Len(); n > 0 {
			last = max(last, b.TimeUS[n-1])
		}
	}
	i.End = End{Cut, fmt.Sprintf("the recording was not closed; samples reach to %.3f s of the stand's time", float64(last)/1e6)}
}
