package main

import (
	"os"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// lookAtBoard says which board this is, who runs the program, and whether the supply has sagged.
func (p *patient) lookAtBoard(f *findings) {
	model := p.read("proc/device-tree/model")
	if model == "" {
		f.note("board", "run doctor on the board that the chips are wired to; everything else works anywhere", "this computer does not say that it is a single-board computer")
	} else {
		f.good("board", "%s", model)
	}
	if os.Geteuid() == 0 {
		f.note("rights", "sudo -u ductwarden ductwarden doctor shows what the service sees", "doctor runs as root, who may everything")
	}
	p.lookAtSupply(f)
}

// Flags of the firmware's record of the supply (vendor's documentation of get_throttled, from memory).
const (
	sagsNow = 1 << 0
	hasSunk = 1 << 16
)

func (p *patient) lookAtSupply(f *findings) {
	text := p.read("sys/devices/platform/soc/soc:firmware/get_throttled")
	flags, err := strconv.ParseUint(strings.TrimPrefix(text, "0x"), 16, 32)
	switch {
	case text == "" || err != nil:
		return // this board keeps no such record
	case flags&sagsNow != 0:
		f.bad("supply", "a stronger supply for the board, a supply of their own for the servos, thicker wires", "the board's supply is too low now")
	case flags&hasSunk != 0:
		f.bad("supply", "see whether it happens when servos move: give them a supply of their own, fused; then restart the board to clear the record", "the board's supply has been too low since it started")
	default:
		f.good("supply", "it has not sagged since the board started")
	}
}

// lookAtClock says whether the calendar can be believed. Control uses the time since the start and needs none.
func (p *patient) lookAtClock(f *findings) {
	var t unix.Timex
	state, err := unix.Adjtimex(&t)
	if err != nil || state == unix.TIME_ERROR || t.Status&unix.STA_UNSYNC != 0 {
		f.note("clock", "sudo timedatectl set-ntp true, or fit a clock with a battery; control does not depend on it", "the clock is not kept by another one: days in the history may be wrong")
		return
	}
	f.good("clock", "kept by another one")
}

// lookAtWatchdog says whether the board restarts when the kernel hangs.
func (p *patient) lookAtWatchdog(f *findings) {
	switch state := p.read("sys/class/watchdog/watchdog0/state"); state {
	case "":
		f.note("watchdog", "use a pulsed start line, which drops out by itself", "this computer has no hardware watchdog: when its kernel hangs, outputs stay as they are")
	case "active":
		f.good("watchdog", "the board restarts when its kernel hangs")
	default:
		f.note("watchdog", "write RuntimeWatchdogSec=10s below [Manager] in /etc/systemd/system.conf and restart; a pulsed start line drops out by itself", "the hardware watchdog is not used: when the kernel hangs, outputs stay as they are")
	}
}

// room is the free and the whole space of the disk that holds a folder, bytes.
func room(folder string) (free, total uint64) {
	var s unix.Statfs_t
	if err := unix.Statfs(folder, &s); err != nil {
		return 0, 0
	}
	return s.Bavail * uint64(s.Bsize), s.Blocks * uint64(s.Bsize)
}
