package emulated

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
)

// Missing names what this machine lacks to build and run the emulated board, "" when nothing.
func Missing() string {
	if runtime.GOOS != "linux" {
		return "Linux" // it watches its pseudo-terminal by inotify
	}
	var lacks []string
	for _, tool := range []string{"avr-gcc", "cc", "make", "pkg-config"} {
		if _, err := exec.LookPath(tool); err != nil {
			lacks = append(lacks, tool)
		}
	}
	if len(lacks) == 0 {
		if err := exec.Command("pkg-config", "--exists", "simavr", "libelf").Run(); err != nil {
			lacks = append(lacks, "libsimavr and libelf")
		}
	}
	return strings.Join(lacks, ", ")
}

// Binaries are a firmware and the board it runs on.
type Binaries struct {
	Firmware string // an ELF file
	board    string
}

// Build makes both in dir. Each of defines is one of the firmware's settings, as in config.h: "JOINTS=1".
func Build(dir string, defines ...string) (Binaries, error) {
	here, err := folder()
	if err != nil {
		return Binaries{}, err
	}
	b := Binaries{Firmware: filepath.Join(dir, "firmware.elf"), board: filepath.Join(dir, "emulated")}
	if err := run("make", "-C", filepath.Join(here, "harness"), "OUT="+b.board); err != nil {
		return b, fmt.Errorf("build the emulated board: %w", err)
	}
	var defs []string
	for _, d := range defines {
		defs = append(defs, "'-D"+d+"'") // the shell of make takes the quotes off
	}
	if err := run("make", "-C", filepath.Dir(here), "OUT="+dir, "DEFS="+strings.Join(defs, " ")); err != nil {
		return b, fmt.Errorf("build the firmware: %w", err)
	}
	return b, nil
}

// folder returns where this package's sources lie.
func folder() (string, error) {
	_, file, _, ok := runtime.Caller(0)
	if _, err := os.Stat(file); !ok || err != nil {
		return "", fmt.Errorf("the sources of the emulated board are not where they were when this program was built (%s)", file)
	}
	return filepath.Dir(file), nil
}

func run(name string, args ...string) error {
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		return fmt.Errorf("%s %s: %w\n%s", name, strings.Join(args, " "), err, out)
	}
	return nil
}
