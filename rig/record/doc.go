// Package record keeps runs on disk. A run is a folder, bench/runs/0042/, that explains itself:
//
//	run.json         what was recorded, of what, and how it ended (Info)
//	journal.lp.zst   the samples while the run is being recorded
//	samples.parquet  the samples once the run is sealed
//	calibrations/    a copy of each calibration its joints name; samples are kept uncorrected
//
// What must hold:
//
//   - A journal is only ever added to. It is a row of zstd frames, each with whole lines of line
//     protocol in it and each on the disk (fsync) before the next is begun, so a crash costs the
//     last frame and no more.
//   - A journal is removed only after the sealed file is on the disk, was read back and is equal.
//     As long as there is a journal it is the truth, whatever lies beside it.
//   - Files that are replaced are replaced whole: temporary file in the same folder, write, fsync,
//     rename, fsync of the folder.
//
// Units are in the names. Times are integer microseconds of device time since the stand's
// power-up; a journal line's timestamp is that time in nanoseconds. Angles are mdeg, current mA,
// voltage mV, torque mN·m, temperature 0.01 °C. What was not measured is absent (a missing field,
// a null, an empty cell), never zero.
//
// The package also reads and writes logs as CSV and line protocol; see ReadCSV and WriteCSV.
package record
