package takeoff

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
)

// Rules are the numbers behind a takeoff; each may be changed by the person.
type Rules struct {
	Stock       int     // mm, stock length of rigid pipe
	Kerf        int     // mm lost to each cut
	Spacing     int     // mm between supports of an empty duct
	ChipDensity float64 // kg/m3 of chips in a duct that has filled up
	SupportLoad float64 // kg that one support may carry; the spacing is shortened until it does
	StallAmps   float64 // A of one servo at stall
	AtOnce      int     // gates that move at one time
	Supply      float64 // V of the servo supply
	Drop        float64 // largest share of the supply's voltage lost in the cable
	Slack       int     // mm of cable beyond the way of the ducts
	Spare       float64 // share added in the spare column

	Say   func(mm int) string // writes a length in notes as the person counts; nil: millimetres
	Gauge bool                // conductors are told by their gauge (AWG) beside mm2
}

func (r *Rules) say(mm int) string {
	if r.Say == nil {
		return fmt.Sprintf("%d mm", mm)
	}
	return r.Say(mm)
}

// DefaultRules are the defaults, each with its source.
var DefaultRules = Rules{
	Stock:       3000, // common practice: spiral and folded pipe is sold in 3 m lengths
	Kerf:        3,    // common practice: a hacksaw or cut-off disc
	Spacing:     2400, // SMACNA HVAC Duct Construction Standards, ch. 4, as quoted by a contractor's page: horizontal ducts every 8 to 12 ft; the lower end
	ChipDensity: 250,  // from memory: loose to settled planer shavings and sawdust, 100 to 300 kg/m3
	SupportLoad: 50,   // own choice: a light clip in timber; the fixing decides
	StallAmps:   2.5,  // published sheets of a common 10 kg cm servo at 6 V
	AtOnce:      2,
	Supply:      6,
	Drop:        0.05, // common practice for extra-low voltage
	Slack:       2000,
	Spare:       0.1, // common practice
}

// Run is one duct of the shop.
type Run struct {
	Name     string
	Size     string // as the person calls it ("160 mm", "round 6 in"); "": the diameter
	Diameter int    // mm inside
	Length   int    // mm
	Wall     string
	Flexible bool
	Metal    bool
	Mass     float64 // kg/m of the empty pipe; 0 = not known
	Fittings []Count
	Gate     *Gate
	Way      int // mm from its upstream end to the collector
}

func (u *Run) size() string {
	if u.Size == "" {
		return fmt.Sprintf("%d mm", u.Diameter)
	}
	return u.Size
}

// Count is a number of equal things.
type Count struct {
	Kind string
	N    int
}

// Gate is the gate at a run's upstream end.
type Gate struct {
	Name  string
	Drive string // servo, relay, remote, hand
}

// Inputs are what the shop needs of converters and lines.
type Inputs struct {
	Clamps, Taps, Contacts, Buttons, EndSwitches int
	Digital                                      int // of the taps: transducers that need no converter
	ConverterChannels                            int // of one chip
}

// Row is one line of the list.
type Row struct {
	Group string  `json:"group"`
	Item  string  `json:"item"`
	Count float64 `json:"count"`
	Unit  string  `json:"unit"` // pieces, mm, A, mm2, bars
	Spare float64 `json:"with_spare"`
	Note  string  `json:"note,omitempty"`

	Price *float64 `json:"price,omitempty"` // of the row with its spare, where the person's list has the item
}

// Cut is the cut list of one kind of pipe.
type Cut struct {
	Item   string `json:"item"`
	Bars   []Bar  `json:"bars"`
	Proved bool   `json:"fewest"` // fewer bars are impossible
}

// List is the whole takeoff.
type List struct {
	Rows  []Row    `json:"rows"`
	Cuts  []Cut    `json:"cuts"`
	Total *float64 `json:"total,omitempty"` // of the priced rows, with spare
}

// Take makes the list. The order depends on nothing but the input.
func Take(runs []Run, in Inputs, r Rules) List {
	var l List
	add := func(group, item string, n float64, unit, note string) {
		if n <= 0 {
			return
		}
		spare := n * (1 + r.Spare)
		switch unit {
		case "pieces", "bars":
			spare = math.Ceil(spare - 1e-9)
		case "mm":
			spare = math.Ceil(spare - 1e-6)
		}
		l.Rows = append(l.Rows, Row{Group: group, Item: item, Count: n, Unit: unit, Spare: spare, Note: note})
	}
	l.pipes(runs, r, add)
	l.fittings(runs, add)
	l.supports(runs, r, add)
	l.bonding(runs, r, add)
	l.electric(runs, in, r, add)
	slices.SortStableFunc(l.Rows, func(a, b Row) int { return cmp.Compare(order[a.Group], order[b.Group]) })
	return l
}

// order is that of the groups in the list.
var order = map[string]int{"pipe": 0, "fittings": 1, "gates": 2, "supports": 3, "bonding": 4, "electric": 5}

type adder func(group, item string, n float64, unit, note string)

func (l *List) pipes(runs []Run, r Rules, add adder) {
	type kind struct {
		diameter   int
		size, wall string
		flexible   bool
	}
	pieces := map[kind][]Piece{}
	for _, u := range runs {
		k := kind{u.Diameter, u.size(), u.Wall, u.Flexible}
		pieces[k] = append(pieces[k], Piece{u.Length, u.Name})
	}
	kinds := make([]kind, 0, len(pieces))
	for k := range pieces {
		kinds = append(kinds, k)
	}
	slices.SortFunc(kinds, func(a, b kind) int {
		return cmp.Or(cmp.Compare(b.diameter, a.diameter), cmp.Compare(a.size, b.size), cmp.Compare(a.wall, b.wall))
	})
	for _, k := range kinds {
		total := 0
		for _, p := range pieces[k] {
			total += p.Length
		}
		item := k.size + " " + k.wall
		if k.flexible {
			add("pipe", item, float64(total), "mm", "cut in one piece each, as short as it can be")
			continue
		}
		bars, couplings, proved := Pack(pieces[k], r.Stock, r.Kerf)
		add("pipe", item, float64(total), "mm", "")
		add("pipe", item+", stock lengths", float64(len(bars)), "bars", "of "+r.say(r.Stock))
		add("fittings", "coupling "+k.size, float64(couplings), "pieces", "where a run is longer than the stock")
		l.Cuts = append(l.Cuts, Cut{item, bars, proved})
	}
}

func (l *List) fittings(runs []Run, add adder) {
	n := map[string]int{}
	for _, u := range runs {
		for _, f := range u.Fittings {
			n[f.Kind+" "+u.size()] += f.N
		}
	}
	for _, k := range sorted(n) {
		add("fittings", k, float64(n[k]), "pieces", "")
	}
	g := map[string]int{}
	for _, u := range runs {
		if u.Gate != nil {
			g[fmt.Sprintf("blast gate %s, %s", u.size(), u.Gate.Drive)]++
		}
	}
	for _, k := range sorted(g) {
		add("gates", k, float64(g[k]), "pieces", "")
	}
}

// FullMass is what a metre of duct weighs when chips have filled it, kg/m.
func FullMass(u Run, density float64) float64 {
	d := float64(u.Diameter) / 1000
	return u.Mass + float64(math.Pi/4*d*d)*density
}

// Spacing is the distance between supports in mm: the rule's, or less where a duct full of chips would load a
// support beyond what it carries.
func Spacing(u Run, r Rules) int {
	if m := FullMass(u, r.ChipDensity); m > 0 && r.SupportLoad > 0 {
		return min(r.Spacing, int(r.SupportLoad/m*1000))
	}
	return r.Spacing
}

// supports counts one for each spacing, and one more near each elbow and each branch. Source: SMACNA S4.0 in a
// secondary copy, within 0.61 m of an elbow and 1.22 m of a branch.
func (l *List) supports(runs []Run, r Rules, add adder) {
	n, notes := map[string]int{}, map[string]string{}
	for _, u := range runs {
		if u.Flexible || u.Length <= 0 {
			continue
		}
		k := "support " + u.size()
		s := max(1, Spacing(u, r))
		n[k] += (u.Length + s - 1) / s
		for _, f := range u.Fittings {
			if strings.HasPrefix(f.Kind, "elbow") || strings.HasPrefix(f.Kind, "branch") {
				n[k] += f.N
			}
		}
		notes[k] = fmt.Sprintf("every %s, and near each elbow and branch; in a duct full of chips each carries %.0f kg", r.say(s), math.Ceil(FullMass(u, r.ChipDensity)*float64(s)/1000))
	}
	for _, k := range sorted(n) {
		add("supports", k, float64(n[k]), "pieces", notes[k])
	}
}

func (l *List) bonding(runs []Run, r Rules, add adder) {
	joints, hoses, plastic := 0, 0, 0
	for _, u := range runs {
		switch {
		case u.Flexible:
			hoses++
		case u.Metal:
			joints++
			if r.Stock > 0 {
				joints += (u.Length - 1) / r.Stock // a coupling is a joint too
			}
		default:
			plastic += u.Length
		}
	}
	add("bonding", "bonding strap across a joint", float64(joints), "pieces", "bonding to protective earth is work for whoever is licensed to do it")
	add("bonding", "hose clamp with bonding lug", float64(2*hoses), "pieces", "a conductive hose, bonded at both ends")
	add("bonding", "pipe that does not conduct", float64(plastic), "mm", "a wire along it drains only what it touches, and whether that helps is disputed: metal pipe has no such question")
}

// copper's resistivity at 20 °C: 0.0172 ohm mm2/m (IEC 60028, from memory).
const copper = 0.0172

// sections are the usual conductor cross-sections in mm2 (IEC 60228, from memory).
var sections = []float64{0.5, 0.75, 1, 1.5, 2.5, 4, 6, 10, 16}

// Section is the least usual cross-section in mm2 for a pair of length mm at amps, and the volts lost; 0 where
// none is enough.
func Section(length int, amps, volts, share float64) (mm2, lost float64) {
	for _, a := range sections {
		lost = float64(2*copper*float64(length)/1000/a) * amps
		if lost <= volts*share {
			return a, lost
		}
	}
	return 0, lost
}

// gauge is the thinnest American wire gauge that is no thinner than a cross-section in mm2. Source: ASTM B258,
// 0.127 mm times 92 to the power of (36 - n)/39 is the diameter of gauge n.
func gauge(mm2 float64) int {
	for n := 30; n > 0; n-- {
		if d := 0.127 * math.Pow(92, float64(36-n)/39); math.Pi/4*d*d >= mm2*0.999 {
			return n
		}
	}
	return 0
}

func (l *List) electric(runs []Run, in Inputs, r Rules, add adder) {
	servos, relays := 0, 0
	length, worst := map[string]int{}, map[string]float64{}
	for _, u := range runs {
		if u.Gate != nil && u.Gate.Drive == "relay" {
			relays++
		}
		if u.Gate == nil || u.Gate.Drive != "servo" {
			continue
		}
		servos++
		way := u.Way + r.Slack
		mm2, lost := Section(way, r.StallAmps, r.Supply, r.Drop)
		k := fmt.Sprintf("servo cable, pair %g mm2", mm2)
		switch {
		case mm2 == 0:
			k = "servo cable too long: put the supply nearer"
		case r.Gauge:
			k = fmt.Sprintf("servo cable, pair AWG %d (%g mm2)", gauge(mm2), mm2)
		}
		length[k] += way
		worst[k] = math.Max(worst[k], lost)
	}
	add("electric", "servo", float64(servos), "pieces", "")
	add("electric", "16-channel pulse board", math.Ceil(float64(servos)/16), "pieces", "")
	add("electric", fmt.Sprintf("servo supply %g V", r.Supply), float64(min(servos, r.AtOnce))*r.StallAmps, "A", fmt.Sprintf("%d at once at %g A stall; a fuse of its own", min(servos, r.AtOnce), r.StallAmps))
	for _, k := range sorted(length) {
		note := fmt.Sprintf("along the ducts plus %s each", r.say(r.Slack))
		if worst[k] > 0 {
			note += fmt.Sprintf("; loses %.2f V of %g V at stall", worst[k], r.Supply)
		}
		add("electric", k, float64(length[k]), "mm", note)
	}
	add("electric", "relay channel", float64(2*relays), "pieces", "two for each gate that relays drive: open and close")
	add("electric", "current clamp", float64(in.Clamps), "pieces", "fitted with the supply off")
	add("electric", "pressure transducer", float64(in.Taps-in.Digital), "pieces", "")
	add("electric", "pressure transducer, I2C", float64(in.Digital), "pieces", "")
	channels := in.Clamps + in.Taps - in.Digital
	add("electric", "converter channel", float64(channels), "pieces", "")
	if in.ConverterChannels > 0 {
		add("electric", fmt.Sprintf("converter chip, %d channels", in.ConverterChannels), math.Ceil(float64(channels)/float64(in.ConverterChannels)), "pieces", "")
	}
	add("electric", "end switch", float64(in.EndSwitches), "pieces", "")
	add("electric", "contact or auxiliary contact", float64(in.Contacts), "pieces", "")
	add("electric", "button", float64(in.Buttons), "pieces", "")
}

func sorted(m map[string]int) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}
