package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig/link"
	"limbgauge/rig/session"
)

// Every error that a user can provoke says what to do about it, with a code that is not that of a
// failure of the program.
func TestEveryErrorHasAHint(t *testing.T) {
	bench := t.TempDir()
	for _, line := range [][]string{{"init", bench}, {"rev", "add", "A"}, {"sweep", "knee", "--yes", "--speed", "0", "--routine", "quick", "--fault", "servo_play=3"}} {
		if code, _, errs := in(t, bench, line...); code != 0 {
			t.Fatalf("%v: %s", line, errs)
		}
	}
	put := func(name, text string) string {
		path := filepath.Join(bench, name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	log := put("log.csv", "time_s,joint,command_deg,joint_deg\n0,knee,0,0\n")
	strange := put("strange.csv", "time_s,joint,command_deg,joint_deg\n0,ankle,0,0\n0.1,ankle,1,1\n")
	broken := put("broken.csv", "time_s,joint\n0,knee\n")
	words := put("words.csv", "time_s,joint,command_deg,joint_deg\nnow,knee,a,b\n")
	empty := t.TempDir()
	spoiled := t.TempDir()
	for name, text := range map[string]string{benchFile: "[stand\nport = 1\n", "history.toml": "[[revision]]\nname = \n[[revision]]\nname = 'B'\n"} {
		if err := os.WriteFile(filepath.Join(spoiled, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		bench string
		line  string
	}{
		{bench, "nonsense"}, {bench, "--nonsense"}, {bench, "runs --nonsense"}, {bench, "sweep"}, {bench, "problem nonsense"},
		{bench, "sweep ankle --yes"}, {bench, "sweep knee knee --yes"}, {bench, "sweep knee --yes --routine nonsense"},
		{bench, "sweep knee --yes --fault nonsense"}, {bench, "sweep knee --yes --fault creep=much"}, {bench, "sweep knee --yes --error creep"},
		{bench, "sweep knee --yes --revision Z"}, {bench, "sweep knee --yes --speed -1"}, {bench, "sweep knee --port nowhere --yes"},
		{bench, "sweep knee --port nowhere --yes --hands-clear"}, {bench, "sweep knee"}, {bench, "sweep knee --yes --assembly x --new-assembly"},
		{empty, "sweep knee --yes"}, {spoiled, "sweep knee --yes"}, {spoiled, ""}, {spoiled, "rev list"},
		{filepath.Join(empty, "nowhere"), "runs"}, {filepath.Join(empty, "nowhere"), "rev list"}, {filepath.Join(empty, "nowhere"), "sweep knee"},
		{bench, "listen knee"}, {bench, "listen knee --port nowhere"}, {bench, "analyze 99"}, {bench, "analyze --csv " + filepath.Join(bench, "nowhere.csv")},
		{bench, "analyze --csv " + log}, {bench, "analyze --csv " + strange}, {bench, "analyze --csv " + broken}, {bench, "analyze --csv " + words},
		{bench, "analyze 1 --csv " + log}, {bench, "analyze --joint ankle"}, {bench, "analyze --bare 1"}, {bench, "analyze --calibration nowhere"}, {empty, "analyze"},
		{bench, "analyze 1 --gate"}, {bench, "report 99"}, {bench, "report --out " + filepath.Join(empty, "nofolder", "x.html")}, {bench, "report --out " + empty},
		{bench, "export 99"}, {bench, "export --form nonsense"}, {bench, "export --out " + log}, {bench, "export --out " + filepath.Join(empty, "nofolder", "x.csv")},
		{bench, "export --form lines --corrected"}, {bench, "compare 1 1"}, {bench, "compare 1 99"}, {bench, "compare A Z"}, {bench, "compare 1 A --margin play"},
		{bench, "compare 1 A --measure nonsense"}, {bench, "check 99"}, {bench, "seal 99"}, {bench, "runs --joint ankle"}, {bench, "runs --revision Z"},
		{bench, "rev add A"}, {bench, "rev add B --from Z"}, {bench, "rev add B --part x=nowhere.stl"}, {bench, "rev add B --part ="},
		{bench, "rev add B --made x"}, {bench, "rev add B --answers hip/creep"}, {bench, "rev show Z"}, {bench, "rev show A --part x"}, {bench, "rev diff A Z"},
		{bench, "rev part x"}, {bench, "rev file nowhere.stl"}, {bench, "service add x --joint ankle"}, {bench, "service add x --replaced"}, {bench, "service add x --answers 9"},
		{bench, "problem show 9"}, {bench, "problem show hip/creep"}, {bench, "problem show creep"}, {bench, "problem open knee/servo_play"}, {bench, "problem open ankle/creep"},
		{bench, "problem open knee/nonsense"}, {bench, "problem open hip/creep --path nonsense"}, {bench, "problem note 9 x"}, {bench, "problem note 1 x --state nonsense"},
		{bench, "problem list --state nonsense"}, {bench, "problem list --revision Z"}, {bench, "problem list --joint ankle"},
		{bench, "calibrate ankle"}, {bench, "calibrate angle knee --points nowhere.csv"}, {bench, "calibrate angle knee --points " + broken}, {bench, "calibrate supply knee --point x"},
		{bench, "calibrate supply knee --point 5=5 --model nonsense"}, {bench, "calibrate show nowhere"}, {bench, "calibrate show ../x"}, {bench, "calibrate use nowhere"},
		{bench, "calibrate angle knee"}, {bench, "budget --legs 0"}, {bench, "budget --legs 99"}, {empty, "budget"}, {bench, "init"}, {bench, "init " + filepath.Join(log, "x")},
		{bench, "demo " + bench}, {bench, "demo " + filepath.Join(log, "x")}, {bench, "stand --form nonsense"}, {bench, "stand --link " + filepath.Join(empty, "nofolder", "x")},
		{bench, "serve --listen nonsense"}, {bench, "serve --listen 0.0.0.0:0"}, {empty, "serve"}, {empty, "rebuild --nonsense"},
		{bench, "trend ankle"}, {bench, "trend --measure nonsense"}, {bench, "trend --path nonsense"}, {bench, "link --seconds -1"}, {bench, "link --port nowhere"}, {empty, "link"},
		{bench, "endure ankle --cycles 9"}, {bench, "endure knee --yes"}, {bench, "endure knee --cycles -1 --yes"}, {bench, "endure knee --cycles 9 --wear nonsense --yes"},
	} {
		code, _, errs := in(t, c.bench, strings.Fields(c.line)...)
		switch {
		case code == 0:
			t.Errorf("limbgauge %s: no error", c.line)
		case code == exitFailed:
			t.Errorf("limbgauge %s: exit code %d: %s", c.line, code, errs)
		case !strings.Contains(errs, "limbgauge: hint: ") && !strings.Contains(errs, "; "): // behind a semicolon an error says it itself
			t.Errorf("limbgauge %s: no hint: %s", c.line, errs)
		}
	}
}

// Whatever a stand trips for, what to do is said; power-up is no trip.
func TestEveryTripHasAHint(t *testing.T) {
	for r := wire.ReasonHeartbeat; !strings.HasPrefix(r.String(), "reason "); r++ {
		if r == wire.ReasonPowerUp {
			continue
		}
		var out bytes.Buffer
		printError(&out, fmt.Errorf("joint knee, move 3: %w", &link.TrippedError{Trip: link.Tripped{Reason: r}}))
		if !strings.Contains(out.String(), "limbgauge: hint: ") {
			t.Errorf("%s: %s", r, out.String())
		}
	}
}

// What is said after a joint left its range goes by the side of its command it was on: only the other
// side can be an angle that runs against the command.
func TestRangeTripHints(t *testing.T) {
	trip := &link.TrippedError{Trip: link.Tripped{Reason: wire.ReasonRange, Joint: 0, Value: 78_600, Limit: 75_000}, Joint: "knee"}
	for _, c := range []struct {
		err  error
		says []string
		not  string
	}{
		{&session.StrayError{Err: trip, AngleDeg: 78.6, CommandDeg: 60, Ahead: true}, []string{"a tooth of the belt", "the horn", "a load", "zero is off"}, "against the command"},
		{&session.StrayError{Err: trip, AngleDeg: 78.6, CommandDeg: -60}, []string{"may run against the command", "zero"}, "further than it was told"},
		{trip, []string{"may run against the command", "slipped"}, "further than it was told"},
	} {
		hint := hintOf(fmt.Errorf("move 26: %w", c.err))
		for _, want := range c.says {
			if !strings.Contains(hint, want) {
				t.Errorf("%v: %q does not say %q", c.err, hint, want)
			}
		}
		if strings.Contains(hint, c.not) {
			t.Errorf("%v: %q says %q", c.err, hint, c.not)
		}
	}
}
