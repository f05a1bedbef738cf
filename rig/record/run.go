package record

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"

	"limbgauge/rig"
)

// Run is a recorded run. The samples of a sealed one are read joint by joint when they are asked for,
// so that a long run need not fit into memory at once.
type Run struct {
	Dir  string
	Info Info
	// Damage lists what could not be read of a journal that is not sealed yet. What a sealed run
	// lost stands in Info.Notes.
	Damage []*CorruptError
	// Live says that the run is being recorded right now; more samples are to come.
	Live    bool
	batches []*rig.Batch // of a journal
	sealed  *sealedFile  // nil while there is a journal
	// constants and broken are, by joint, the run's copies of its calibrations and what is wrong with them.
	constants map[string]*rig.Calibration
	broken    map[string]error
}

// Open reads a run from its folder: sealed, being recorded, or cut. Damage inside a journal is no
// error, see Run.Damage. Of a run that is not closed Info counts what is there, and says Cut unless it is Live.
func Open(dir string) (*Run, error) { return open(osDisk{}, dir) }

func open(d disk, dir string) (*Run, error) {
	info, err := readInfo(d, dir)
	if err != nil {
		return nil, err
	}
	r := &Run{Dir: dir, Info: info}
	// While there is a journal it is the truth: a sealed file beside it is one that was not finished.
	path := filepath.Join(dir, journalName)
	j, err := readJournal(d, path, setupNames(info))
	switch {
	case err == nil:
		adopt(&r.Info, j.Joints)
		r.Info.State, r.batches, r.Damage = Recording, j.Batches, j.Damage
		r.Info.count(r.batches)
		if r.Live = live(d, path); !r.Live {
			r.Info.closeIfCut(j)
		}
	case errors.Is(err, fs.ErrNotExist):
		if err := r.openSealed(d); err != nil {
			return nil, err
		}
	default:
		return nil, err
	}
	r.readCalibrations(d)
	return r, nil
}

func (r *Run) openSealed(d disk) error {
	path := filepath.Join(r.Dir, sealedName)
	data, err := d.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return noSamples(r.Dir)
	}
	if err != nil {
		return fmt.Errorf("read run: %w", err)
	}
	s, err := openSealed(path, data, setupNames(r.Info))
	if err != nil {
		return err
	}
	adopt(&r.Info, s.names)
	for k := range s.names {
		j := &r.Info.Joints[k]
		if j.Samples, j.FirstUS, j.LastUS, err = s.ends(k); err != nil {
			return err
		}
	}
	r.Info.State, r.sealed = Sealed, s
	return nil
}

func noSamples(dir string) error {
	return fmt.Errorf("%s: %w: neither %s nor %s is there", dir, ErrNoSamples, journalName, sealedName)
}

func live(d disk, path string) bool {
	unlock, err := d.Lock(path)
	if err == nil {
		unlock()
	}
	return errors.Is(err, ErrInUse)
}

// Joints returns the names of the run's joints in the order of Batches.
func (r *Run) Joints() []string { return setupNames(r.Info) }

// Batches returns all samples, one batch per joint. They must not be modified. It fails with
// ErrDamaged where the sealed file is.
func (r *Run) Batches() ([]*rig.Batch, error) {
	if r.sealed == nil {
		return r.batches, nil
	}
	return r.sealed.batches()
}

// samples returns the samples of joint i in the units of the analysis.
func (r *Run) samples(i int) (*rig.Series, error) {
	if r.sealed == nil {
		return rig.SeriesOf(r.Joints()[i], r.batches[i]), nil
	}
	return r.sealed.series(i)
}

// Entry is one run of a list. Err says why a run could not be read; the other fields but ID and
// Dir are then empty.
type Entry struct {
	ID   string
	Dir  string
	Info Info
	Live bool
	Err  error
}

// List returns the runs of a bench in the order of their numbers, without their samples. A run
// that can not be read is an entry with its error. A bench without runs gives none.
func List(benchDir string) ([]Entry, error) { return list(osDisk{}, benchDir) }

func list(d disk, benchDir string) ([]Entry, error) {
	ids, err := runIDs(d, benchDir)
	if err != nil {
		return nil, fmt.Errorf("list runs: %w", err)
	}
	return read(d, benchDir, ids), nil
}

// IDs returns the names of the runs of a bench in the order of their numbers, and reads none of them.
func IDs(benchDir string) ([]string, error) {
	ids, err := runIDs(osDisk{}, benchDir)
	if err != nil {
		return nil, fmt.Errorf("list runs: %w", err)
	}
	return ids, nil
}

// IsRun says whether a folder among the runs may be one, by its name.
func IsRun(name string) bool { return number(name) > 0 }

// Read is List of the runs named, in their order.
func Read(benchDir string, ids []string) []Entry { return read(osDisk{}, benchDir, ids) }

func read(d disk, benchDir string, ids []string) []Entry {
	out := make([]Entry, len(ids))
	for i, id := range ids {
		dir := filepath.Join(benchDir, runsName, id)
		out[i] = Entry{ID: id, Dir: dir}
		out[i].Info, out[i].Err = readInfo(d, dir)
		if out[i].Err == nil && out[i].Info.State == Recording {
			out[i].Live = live(d, filepath.Join(dir, journalName))
		}
	}
	return out
}

// RunDir returns the folder of a run.
func RunDir(benchDir, id string) string { return filepath.Join(benchDir, runsName, id) }

// runIDs returns the names of the run folders in the order of their numbers.
func runIDs(d disk, benchDir string) ([]string, error) {
	names, err := d.List(filepath.Join(benchDir, runsName))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	ids := slices.DeleteFunc(names, func(n string) bool { return number(n) == 0 })
	slices.SortFunc(ids, func(a, b string) int { return number(a) - number(b) })
	return ids, nil
}

// Check reads all of a run and returns everything that is wrong with it, nothing when it is whole.
func Check(dir string) []error {
	r, err := Open(dir)
	if err != nil {
		return []error{err}
	}
	var out []error
	for _, c := range r.Damage {
		out = append(out, c)
	}
	if _, err := r.Batches(); err != nil {
		return append(out, err)
	}
	for _, n := range r.Joints() {
		if _, err := r.Calibration(n); err != nil {
			out = append(out, err)
		}
	}
	stated, err := readInfo(osDisk{}, dir)
	if err != nil {
		return append(out, err)
	}
	if stated.State == Sealed {
		for i, j := range stated.Joints {
			if got := r.Info.Joints[i]; got.Samples != j.Samples || got.FirstUS != j.FirstUS || got.LastUS != j.LastUS {
				out = append(out, fmt.Errorf("%s: joint %q has %d samples from %d to %d us, but %s says %d from %d to %d us",
					dir, j.Setup.Name, got.Samples, got.FirstUS, got.LastUS, infoName, j.Samples, j.FirstUS, j.LastUS))
			}
		}
	}
	return out
}
