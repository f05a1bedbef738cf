package record

// ReplaceFile writes a file whole or not at all, in the durable order: temporary file in the same
// folder, write, fsync, rename, fsync of the folder. It is for what is kept beside a run's samples.
func ReplaceFile(path string, data []byte) error { return replaceFile(osDisk{}, path, data) }
