package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ductwarden/config"
	"ductwarden/controller/bench"
)

// jogFlags are those of jog beside the bench's own.
type jogFlags struct {
	benchFlags
	bus, name    string
	least, most  string
	asJSON       bool
	narrow, wide time.Duration
}

// Pulses that every servo takes: 1000 to 2000 us is what makers agree on (common practice); a hundred more on each side
// lets most gates reach their ends, and the file can say more.
const (
	usualLeast = "900 us"
	usualMost  = "2100 us"
)

func jogVerb() *cobra.Command {
	var f jogFlags
	c := &cobra.Command{
		Use:   "jog GATE | CHIP/CHANNEL",
		Short: "Move one gate in small steps and find its two ends",
		Long: "Moves one gate's servo in small steps, or its motor for short times, never beyond its limits, until you have marked\n" +
			"both ends; then shows what would change in the shop file and asks. CHIP/CHANNEL, like pca9685@0x40/0, needs no shop\n" +
			"file: it begins one (shop.yaml here, or --config), or adds the gate to the one that is there. Pulses end two seconds\n" +
			"after the last step, and at once with Ctrl-C. On a terminal single keys are taken; otherwise lines: +10, -50, go open,\n" +
			"go closed, mark open, mark closed, release, write, q.",
		Example: "  ductwarden jog pca9685@0x40/0\n  ductwarden jog pca9685@0x40/0 --rehearse\n  ductwarden jog \"table saw\" --config shop.yaml",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			s, target, err := f.prepare(args[0])
			if err != nil {
				return err
			}
			w, err := f.open(c.Context(), s)
			if err != nil {
				return err
			}
			talk := c.OutOrStdout()
			if f.asJSON {
				talk = c.ErrOrStderr()
			}
			j := jogger{desk: w, out: talk, path: f.path(), edits: s.edits, rehearsed: f.rehearse, glance: f.glance()}
			v, err := j.run(c.Context(), c.InOrStdin(), target, w.where)
			if e := w.Close(); err == nil {
				err = e
			}
			if err == nil && f.asJSON && v != nil {
				e := json.NewEncoder(c.OutOrStdout())
				e.SetIndent("", "  ")
				err = e.Encode(v)
			}
			return err
		},
	}
	f.add(c)
	c.Flags().StringVar(&f.bus, "bus", "", "I2C device of CHIP in a file that names none (default "+usualBus+")")
	c.Flags().StringVar(&f.name, "name", "", "name of the gate on CHIP/CHANNEL (default: gate and its channel)")
	c.Flags().StringVar(&f.least, "least", usualLeast, "shortest pulse that this servo may get, for CHIP/CHANNEL")
	c.Flags().StringVar(&f.most, "most", usualMost, "longest pulse that this servo may get, for CHIP/CHANNEL")
	c.Flags().BoolVar(&f.asJSON, "json", false, "print what was found as JSON; the talk goes to stderr")
	return c
}

// onChip is CHIP/CHANNEL, with its bus in front where there are several.
var onChip = regexp.MustCompile(`^(?:([A-Za-z0-9_-]+):)?(pca9685|ads1115|mcp3208)(@0x[0-9a-fA-F]{1,2})?(?:/([0-9]{1,2}))?$`)

// prepare says what is to be jogged: a gate of the shop file, or one that is added to it.
func (f *jogFlags) prepare(target string) (s benchShop, gate string, err error) {
	if err := f.check(); err != nil {
		return s, "", err
	}
	m := onChip.FindStringSubmatch(target)
	if m == nil {
		if strings.Contains(target, "@") || strings.Contains(target, "/") {
			return s, "", usageError{fmt.Errorf("%q names no channel of a servo board: write it like pca9685@0x40/0, or name a gate of the shop file", target)}
		}
		s, err = f.loadBench()
		return s, target, err
	}
	if m[2] != "pca9685" {
		return s, "", usageError{fmt.Errorf("%q is a converter, which moves nothing: `ductwarden listen %s` shows its currents", target, strings.Split(target, "/")[0])}
	}
	if m[3] == "" || m[4] == "" {
		return s, "", usageError{fmt.Errorf("%q lacks its address or its channel: write it like pca9685@0x40/0", target)}
	}
	channel, _ := strconv.Atoi(m[4])
	for _, v := range []struct {
		text string
		to   *time.Duration
	}{{f.least, &f.narrow}, {f.most, &f.wide}} {
		seconds, err := config.ParseQuantity(config.Time, v.text)
		if err != nil {
			return s, "", usageError{fmt.Errorf("--least and --most are pulse widths like 900 us: %w", err)}
		}
		*v.to = time.Duration(seconds*1e6+0.5) * time.Microsecond
	}
	if f.config == "" {
		f.config = nearConfig
	}
	return f.begin(m[1], m[2]+m[3], channel)
}

// begin adds a gate on a chip's channel to the shop file, or begins one; nothing is written yet.
func (f *jogFlags) begin(bus, chip string, channel int) (s benchShop, gate string, err error) {
	text, file, err := begun(f.config, "jog")
	if err != nil {
		return s, "", err
	}
	if file != nil {
		if g := gateOn(file, bus, chip, channel); g >= 0 {
			s, err = f.loadBench()
			return s, file.Gates[g].Name, err
		}
	}
	if text, chip, err = onBus(text, file, f.bus, chip); err != nil {
		return s, "", err
	}
	if gate = f.name; gate == "" {
		gate = fmt.Sprintf("gate %d", channel)
	}
	mid := (f.narrow + f.wide) / 2
	put := func(open, closed time.Duration) ([]byte, *config.Shop, error) {
		out, err := config.Append(text, "gates", bench.ServoGate(gate, chip, channel, bench.Servo{Open: open, Closed: closed, Least: f.narrow, Most: f.wide}))
		if err != nil {
			return nil, nil, err
		}
		parsed, err := config.Parse(f.config, bytes.NewReader(out))
		return out, parsed, err
	}
	with, parsed, err := put(mid+100*time.Microsecond, mid-100*time.Microsecond)
	if err != nil {
		return s, "", err
	}
	last := len(parsed.Gates) - 1
	s = benchShop{file: parsed, edits: begunFile{f.config, with}, own: true, blank: func(p *bench.Parts) {
		p.Gates[last].Servo.Open, p.Gates[last].Servo.Closed = 0, 0
	}}
	if f.rehearse { // the simulated gate has ends that the file does not know
		if _, s.truth, err = put(mid+(f.wide-f.narrow)*3/10, mid-(f.wide-f.narrow)*3/10); err != nil {
			return s, "", err
		}
	}
	return s, gate, nil
}

// gateOn finds the gate on a chip's channel, -1 if none.
func gateOn(file *config.Shop, bus, chip string, channel int) int {
	for i := range file.Gates {
		sv := file.Gates[i].Actuator.Servo
		if sv != nil && sv.Channel == channel && strings.EqualFold(sv.Chip.String(), chip) && (bus == "" || file.Buses[sv.Chip.Bus].Name == bus) {
			return i
		}
	}
	return -1
}
