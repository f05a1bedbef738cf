package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	wire "limbgauge/firmware-protocol"
	"limbgauge/rig"
	"limbgauge/rig/link"
	"limbgauge/rig/link/find"
	"limbgauge/rig/link/port"
)

// Exit codes of "limbgauge link" alone; other commands answer all of these with exitStand.
const (
	exitNoPort      = 10
	exitBusy        = 11
	exitPermission  = 12
	exitOtherBaud   = 13
	exitNoise       = 14
	exitSilence     = 15
	exitBootLoader  = 16
	exitTextForm    = 17
	exitOldFirmware = 18
	exitNewFirmware = 19
	exitGone        = 20
	exitRestarts    = 21
	exitEcho        = 22
	exitMisbehaves  = 23
	exitNoAngle     = 24
)

// aTrouble is one way in which a line can fail, and what to do about it.
type aTrouble struct {
	code int
	what string // for the list of exit codes
	is   func(error) bool
	hint string // PORT and BAUD are filled in
}

// troubles are all of them, in the order in which they are looked for.
func troubles() []aTrouble {
	heard := func(h ...link.Heard) func(error) bool {
		return func(err error) bool {
			var e *link.NoHelloError
			if !errors.As(err, &e) {
				return false
			}
			for _, x := range h {
				if e.Heard == x {
					return true
				}
			}
			return false
		}
	}
	is := func(targets ...error) func(error) bool {
		return func(err error) bool {
			for _, t := range targets {
				if errors.Is(err, t) {
					return true
				}
			}
			return false
		}
	}
	version := func(newer bool) func(error) bool {
		return func(err error) bool {
			var e *link.VersionError
			return errors.As(err, &e) && (e.StandMajor > wire.Major) == newer
		}
	}
	as := func(target any) func(error) bool { return func(err error) bool { return errors.As(err, target) } }
	return []aTrouble{
		{exitNoPort, "there is no such port, none at all, or more than one to choose from",
			is(port.ErrNotThere, port.ErrNoPort, port.ErrManyPorts, port.ErrNotSerial), "plug the board in (some cables only charge), then name its port with --port"},
		{exitBusy, "the port is in use by another program", is(port.ErrBusy), "close serial monitors and other runs of limbgauge on PORT, then try again"},
		{exitPermission, "no permission for the port", is(port.ErrPermission), "after that, the same command works; root is not needed"},
		{exitOtherBaud, "the stand speaks at another baud rate", as(new(*find.BaudError)), "set baud = SPEAKS under [stand] in bench.toml, or give --baud SPEAKS"},
		{exitOtherBaud, "", is(port.ErrBaud), "a 16 MHz board does 250000, 500000 and 1000000 exactly"},
		{exitNoise, "bytes come that mean nothing at any usual baud rate", as(new(*find.NoiseError)),
			"join the grounds of board and adapter, look at the levels (a 3.3 V adapter may not read a 5 V board), and make sure that PORT is the stand; a board that runs at another clock than its firmware was built for sounds like this as well"},
		{exitSilence, "silence: nothing comes back at all", as(new(*find.SilenceError)),
			"is the board's lamp on, is PORT its port, are sending and receiving wire crossed over, is a firmware on it? See firmware-protocol/STAND.md, \"Nothing comes\""},
		{exitSilence, "", as(new(*link.QuietError)), "compare what it prints with section 10 of firmware-protocol/SPEC.md, and its joints' names with those of bench.toml"},
		{exitBootLoader, "the board's boot loader answers, but no stand's firmware", as(new(*find.BootLoaderError)),
			"flash a firmware: firmware-protocol/STAND.md, \"Flash the firmware\""},
		{exitTextForm, "the form is the other one: lines of text instead of frames, or the reverse", heard(link.HeardText),
			"record it with \"limbgauge listen JOINT --port PORT\"; form = \"text\" under [stand] in bench.toml lets \"link\" look at it too"},
		{exitTextForm, "", is(errSpeaksFrames), "set form = \"frames\" under [stand] in bench.toml"},
		{exitOldFirmware, "the firmware is older than this limbgauge's protocol", version(false), "flash the firmware of this repository: firmware-protocol/STAND.md, \"Flash the firmware\""},
		{exitOldFirmware, "", as(new(*link.FrameError)), "firmware-protocol/STAND.md, \"Flash the firmware\""},
		{exitNewFirmware, "the firmware is newer than this limbgauge's protocol", version(true), "update limbgauge, or flash the firmware that came with this one"},
		{exitRestarts, "the stand restarted, or does so again and again", func(err error) bool {
			return heard(link.HeardRestarts)(err) || errors.Is(err, link.ErrRestarted)
		}, "give board and servos supplies of their own with one common ground, and look at the capacitor at the servos: their start current pulls a shared supply down"},
		{exitEcho, "our own bytes come back", heard(link.HeardEcho), "part the wires, or take the plug off that joins them"},
		{exitGone, "the stand went away: unplugged, or dead", is(link.ErrGone, link.ErrClosed), "look at the plug and at the cable, then start again; a board that leaves when servos start has a supply problem"},
		{exitMisbehaves, "somebody answers, but not as the protocol wants it", heard(link.HeardFrames, link.HeardNoise, link.HeardNothing), "flash the firmware of this repository: firmware-protocol/STAND.md"},
		{exitMisbehaves, "", as(new(*link.NoReplyError)), "the stand hangs, or the line loses much: press its reset, then flash its firmware anew"},
		{exitMisbehaves, "", as(new(*link.RefusedError)), "the stand and bench.toml do not fit together"},
		{exitMisbehaves, "", is(errNoChannels), "build the firmware with its joints: firmware-protocol/STAND.md"},
		{exitStopped, "", as(new(*link.TrippedError)), "find the reason before anything is armed; the next hello takes the trip back"},
		{exitInput, "", as(new(*link.ChannelError)), ""},
	}
}

// linkTrouble gives an error of a line its own exit code and what to do.
func linkTrouble(err error, s rig.Stand) error {
	var k kindError
	if err == nil || errors.As(err, &k) {
		return err
	}
	speaks := s.Baud
	if e := (*find.BaudError)(nil); errors.As(err, &e) {
		speaks = e.Speaks
	}
	for _, t := range troubles() {
		if t.is(err) {
			hint := strings.NewReplacer("PORT", s.Port, "SPEAKS", fmt.Sprint(speaks)).Replace(t.hint)
			return kindError{err: err, code: t.code, hint: hint}
		}
	}
	return err
}

// sayLink is the last word of other commands about a line that failed.
func (a *app) sayLink(err error) string {
	if a.device == "" || a.device == rig.PortVirtual {
		return ""
	}
	for _, t := range troubles() {
		if t.code >= exitNoPort && t.is(err) {
			return fmt.Sprintf("\"limbgauge link --port %s\" says more; nothing moves there", a.device)
		}
	}
	return ""
}

// linkCodes lists the exit codes of "limbgauge link".
func linkCodes() string {
	b := new(strings.Builder)
	fmt.Fprint(b, "\n\"limbgauge link\" tells the ways of code 4 apart:\n\n")
	list := troubles()
	slices.SortStableFunc(list, func(x, y aTrouble) int { return x.code - y.code })
	for _, t := range list {
		if t.what != "" {
			say(b, "  ", fmt.Sprintf("%d %s", t.code, t.what))
		}
	}
	say(b, "  ", fmt.Sprintf("%d the line works, but a joint of bench.toml gives no angle", exitNoAngle))
	return b.String()
}
