package loop

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"hash/fnv"
	"io"
	"os"
	"slices"
	"time"
)

// The file of starts holds what a motor's budget must not forget over a restart. It has two slots, written in
// turn and in place, each with a checksum and a rising number: a write that a power cut tears leaves the other
// slot whole. Slots lie a page of flash apart.
const (
	slotSize    = 2048
	slotStride  = 4096
	slotVersion = 1
	// MaxStored is the most starts kept for one collector.
	MaxStored = 32
	// budgetHour is the sliding time in which starts count.
	budgetHour = time.Hour
)

var (
	slotMagic = [4]byte{'D', 'W', 'S', 'T'}
	slotTable = crc32.MakeTable(crc32.Castagnoli)
)

// Ending says how the program that wrote a slot stood at that moment.
type Ending uint8

// The endings.
const (
	StillOff   Ending = iota // it ran, every collector's start line off
	StillOn                  // it ran, a collector's start line on
	OrderlyEnd               // it had ended in order
)

// BootClock is the machine's monotonic clock and the name of its present boot.
type BootClock interface {
	// Boot names the present boot; all zero when the machine cannot say, which counts as another boot.
	Boot() [16]byte
	// SinceBoot is monotonic time since a moment that is fixed within one boot.
	SinceBoot() time.Duration
}

// Medium is where the slots lie: an *os.File, or memory in a rehearsal.
type Medium interface {
	io.ReaderAt
	io.WriterAt
	Sync() error
}

// Starts is the open file of starts. It belongs to one goroutine.
type Starts struct {
	medium Medium
	clock  BootClock
	now    slot
}

// slot is the content of one slot. Times are milliseconds since the boot that it names.
type slot struct {
	seq     uint64
	boot    [16]byte
	written int64
	ending  Ending
	kept    []kept
}

// kept is one collector's starts, oldest first.
type kept struct {
	id     uint64 // hash of the collector's id, so that a reordered shop file keeps its budget
	starts []int64
}

// Restored is what the file knew at program start.
type Restored struct {
	// Ages are the starts that count for each collector asked for, oldest first.
	Ages [][]time.Duration
	// Unclean is set when the previous program did not end in order.
	Unclean bool
	// Why says in one sentence what was wrong with the file or with the previous end; empty when nothing was.
	Why string
}

// Budgeted is a collector as the file of starts needs it.
type Budgeted struct {
	ID    string // stable id from the shop file
	Limit int    // starts an hour; all of them count as made when the file cannot say
}

// OpenStarts opens or makes the file at path.
func OpenStarts(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o640)
	if err != nil {
		return nil, fmt.Errorf("the file of starts cannot be opened: %w; starts are counted pessimistically until it can", err)
	}
	return f, nil
}

// RestoreStarts reads both slots, works out which starts count now, and writes that the program runs. Starts of
// the same boot keep their age; of another boot each that may lie within the hour counts as made now; a missing
// or corrupt file counts as a spent budget. The error concerns the write only; the Starts is usable all the same.
func RestoreStarts(m Medium, clock BootClock, collectors []Budgeted) (*Starts, Restored, error) {
	s := &Starts{medium: m, clock: clock}
	last, err := s.newest()
	boot, now := clock.Boot(), clock.SinceBoot().Milliseconds()
	sameBoot := err == nil && boot == last.boot && boot != [16]byte{} && now >= last.written
	r := Restored{Ages: make([][]time.Duration, len(collectors))}
	switch {
	case errors.Is(err, errNoSlots):
		r.Why = "there is no file of starts yet: this hour's starts count as used, one start is possible after the full rest"
	case err != nil:
		r.Unclean = true
		r.Why = "the file of starts is damaged: this hour's starts count as used, one start is possible after the full rest"
	case last.ending == OrderlyEnd:
	case last.ending == StillOn:
		r.Unclean = true
		r.Why = "the previous run ended without its orderly end while a collector was on: a crash, or the power was cut"
	case sameBoot:
		r.Unclean = true
		r.Why = "the previous run ended without its orderly end: a crash, or it was killed"
	}
	s.now = slot{seq: last.seq, boot: boot, ending: StillOff}
	for i, c := range collectors {
		id := hashID(c.ID)
		k := kept{id: id}
		at := slices.IndexFunc(last.kept, func(k kept) bool { return k.id == id })
		switch {
		case err != nil || at < 0: // nothing known: as if every start of the hour had just been made
			for range min(c.Limit, MaxStored) {
				k.starts = append(k.starts, now)
			}
		case sameBoot:
			for _, t := range last.kept[at].starts {
				if now-t < budgetHour.Milliseconds() {
					k.starts = append(k.starts, t)
				}
			}
		default:
			for _, t := range last.kept[at].starts {
				if last.written-t < budgetHour.Milliseconds() {
					k.starts = append(k.starts, now)
				}
			}
		}
		for _, t := range k.starts {
			r.Ages[i] = append(r.Ages[i], time.Duration(now-t)*time.Millisecond)
		}
		s.now.kept = append(s.now.kept, k)
	}
	return s, r, s.write()
}

func hashID(id string) uint64 {
	h := fnv.New64a()
	h.Write([]byte(id))
	return h.Sum64()
}

// Started notes a start of the collector in place i, made now, and writes it.
func (s *Starts) Started(i int) error {
	k := &s.now.kept[i]
	now := s.clock.SinceBoot().Milliseconds()
	k.starts = slices.DeleteFunc(k.starts, func(t int64) bool { return now-t >= budgetHour.Milliseconds() })
	if len(k.starts) == MaxStored {
		k.starts = slices.Delete(k.starts, 0, 1)
	}
	k.starts = append(k.starts, now)
	return s.write()
}

// Mark notes how the program stands and writes it when it has changed.
func (s *Starts) Mark(e Ending) error {
	if s.now.ending == e {
		return nil
	}
	s.now.ending = e
	return s.write()
}

// write puts the present content into the older slot and waits until the medium has it.
func (s *Starts) write() error {
	s.now.seq++
	s.now.written = s.clock.SinceBoot().Milliseconds()
	off := int64(s.now.seq%2) * slotStride
	if _, err := s.medium.WriteAt(s.now.encode(), off); err != nil {
		return fmt.Errorf("the file of starts cannot be written: %w; check the disk", err)
	}
	if err := s.medium.Sync(); err != nil {
		return fmt.Errorf("the file of starts cannot be written: %w; check the disk", err)
	}
	return nil
}

var (
	errNoSlots = errors.New("no slots")
	errDamaged = errors.New("both slots damaged")
)

// newest reads both slots and returns the one with the higher number.
func (s *Starts) newest() (slot, error) {
	var best slot
	found, empty := false, 0
	for i := range 2 {
		buf := make([]byte, slotSize)
		n, err := s.medium.ReadAt(buf, int64(i)*slotStride)
		if err != nil && !errors.Is(err, io.EOF) {
			return slot{}, fmt.Errorf("%w: %w", errDamaged, err)
		}
		if n == 0 || allZero(buf[:n]) {
			empty++
			continue
		}
		if got, ok := decodeSlot(buf[:n]); ok && (!found || got.seq > best.seq) {
			best, found = got, true
		}
	}
	switch {
	case found:
		return best, nil
	case empty == 2:
		return slot{}, errNoSlots
	default:
		return slot{}, errDamaged
	}
}

func allZero(b []byte) bool { return !slices.ContainsFunc(b, func(x byte) bool { return x != 0 }) }

// encode lays the slot out: magic, version, ending, number, boot, time written, collectors, checksum at the end.
func (s *slot) encode() []byte {
	b := make([]byte, 0, slotSize)
	b = append(b, slotMagic[:]...)
	b = append(b, slotVersion, byte(s.ending), byte(len(s.kept)), 0)
	b = binary.LittleEndian.AppendUint64(b, s.seq)
	b = append(b, s.boot[:]...)
	b = binary.LittleEndian.AppendUint64(b, uint64(s.written))
	for _, k := range s.kept {
		b = binary.LittleEndian.AppendUint64(b, k.id)
		b = append(b, byte(len(k.starts)))
		for _, t := range k.starts {
			b = binary.LittleEndian.AppendUint64(b, uint64(t))
		}
	}
	b = append(b, make([]byte, slotSize-4-len(b))...)
	return binary.LittleEndian.AppendUint32(b, crc32.Checksum(b, slotTable))
}

// decodeSlot reads a slot back; ok is false when it is short, altered or of another version.
func decodeSlot(b []byte) (s slot, ok bool) {
	if len(b) < slotSize || crc32.Checksum(b[:slotSize-4], slotTable) != binary.LittleEndian.Uint32(b[slotSize-4:]) ||
		[4]byte(b[:4]) != slotMagic || b[4] != slotVersion {
		return slot{}, false
	}
	s = slot{ending: Ending(b[5]), seq: binary.LittleEndian.Uint64(b[8:]), boot: [16]byte(b[16:32]),
		written: int64(binary.LittleEndian.Uint64(b[32:]))}
	rest := b[40 : slotSize-4]
	for range int(b[6]) {
		if len(rest) < 9 || len(rest) < 9+8*int(rest[8]) || rest[8] > MaxStored {
			return slot{}, false
		}
		k := kept{id: binary.LittleEndian.Uint64(rest)}
		n := int(rest[8])
		rest = rest[9:]
		for j := range n {
			k.starts = append(k.starts, int64(binary.LittleEndian.Uint64(rest[8*j:])))
		}
		rest = rest[8*n:]
		s.kept = append(s.kept, k)
	}
	return s, s.ending <= OrderlyEnd
}
