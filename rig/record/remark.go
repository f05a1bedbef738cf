package record

import "fmt"

// Remark writes into a run that came to its end what its answer led to, as the rule of an endurance
// test that ended it. How it ended stays as it is.
func Remark(dir, reason string) error {
	info, err := readInfo(osDisk{}, dir)
	if err != nil {
		return err
	}
	info.End.Reason = reason
	if err := writeInfo(osDisk{}, dir, info); err != nil {
		return fmt.Errorf("note why run %s was the last: %w", info.Run, err)
	}
	return nil
}
