package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"ductwarden/config"
	"ductwarden/controller/airflow/takeoff"
)

// takeoffVerb lists what must be bought and cut.
func takeoffVerb() *cobra.Command {
	rules := takeoff.DefaultRules
	var prices, stock, kerf, spacing string
	var asJSON, asCSV bool
	c := &cobra.Command{
		Use:   "takeoff FILE",
		Short: "List what a shop's ducts need: pipe, fittings, gates, supports, wiring, and how to cut",
		Long: "Counts pipe by diameter and wall, fittings, gates, supports, bonding parts, servos, converter channels, the servo\n" +
			"supply and its cable, and packs the runs into stock lengths with the fewest bars. Lengths are those of the shop file:\n" +
			"measure in the shop before you cut. Prices come from your own list, CSV with the columns item,price, with the\n" +
			"items as this list names them; pipe, hose and cable are priced by the metre, with `units: us` by the foot.",
		Example: "  ductwarden takeoff shop.yaml --stock 3m --prices mine.csv\n  ductwarden takeoff shop.yaml --csv >list.csv",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if asJSON && asCSV {
				return usageError{fmt.Errorf("--json and --csv exclude each other: choose one")}
			}
			for _, l := range []struct {
				flag, text string
				mm         *int
				least      float64
			}{{"--stock", stock, &rules.Stock, 0.2}, {"--kerf", kerf, &rules.Kerf, 0}, {"--spacing", spacing, &rules.Spacing, 0.2}} {
				if l.text == "" {
					continue
				}
				m, err := config.ParseQuantity(config.Length, l.text)
				if err != nil || m < l.least || m > 20 {
					return usageError{fmt.Errorf("%s %q is not a length from %g m to 20 m; write it like 3 m or 10 ft", l.flag, l.text, l.least)}
				}
				*l.mm = int(math.Round(m * 1000))
			}
			file, err := config.Load(args[0])
			if err != nil {
				return err
			}
			if len(file.Ducts) == 0 {
				return fmt.Errorf("%s has no ducts: add them under ducts:, then there is something to count", args[0])
			}
			set := func(flag string) bool { return c.Flags().Changed(flag) }
			list := takeoff.Take(runsOf(file), inputsOf(file), rulesOf(file, rules, set))
			price, err := readPrices(prices)
			if err != nil {
				return err
			}
			if unknown := putPrices(&list, price, file.Units); len(unknown) > 0 {
				fmt.Fprintf(c.ErrOrStderr(), "ductwarden: %s: no such item in the list: %s; write items as the list names them\n", prices, strings.Join(unknown, "; "))
			}
			out := c.OutOrStdout()
			switch {
			case asJSON:
				e := json.NewEncoder(out)
				e.SetIndent("", "  ")
				return e.Encode(list)
			case asCSV:
				return takeoffCSV(out, file, list)
			}
			return takeoffTable(out, file, list)
		},
	}
	f := c.Flags()
	f.StringVar(&stock, "stock", "", "stock length of rigid pipe (default 3 m; 10 ft in a file with units: us)")
	f.StringVar(&kerf, "kerf", "", "length lost to each cut (default 3 mm)")
	f.StringVar(&spacing, "spacing", "", "between supports of an empty duct (default 2.4 m; 8 ft in a file with units: us; the lower end of a cited duct standard)")
	f.Float64Var(&rules.StallAmps, "stall", rules.StallAmps, "amperes of one servo at stall")
	f.Float64Var(&rules.Supply, "supply", rules.Supply, "volts of the servo supply")
	f.Float64Var(&rules.Spare, "spare", rules.Spare, "share added in the spare column")
	f.StringVar(&prices, "prices", "", "your price list: CSV with the columns item,price")
	f.BoolVar(&asJSON, "json", false, "as JSON, lengths in millimetres")
	f.BoolVar(&asCSV, "csv", false, "as CSV")
	return c
}

// What stock and spacing are where people count in feet: the same sources as the metric ones.
const (
	usStock   = 3048 // mm: 10 ft
	usSpacing = 2438 // mm: 8 ft
)

func rulesOf(file *config.Shop, r takeoff.Rules, set func(flag string) bool) takeoff.Rules {
	r.AtOnce = file.Limits.MovingAtOnce
	r.Say = func(mm int) string { return cutLength(file.Units, mm) }
	if file.Units == config.US {
		r.Gauge = true
		if !set("stock") {
			r.Stock = usStock
		}
		if !set("spacing") {
			r.Spacing = usSpacing
		}
	}
	return r
}

// cutLength writes a length as it is marked on a pipe: whole millimetres, or inches and sixteenths.
func cutLength(units config.Units, mm int) string {
	if units != config.US {
		return fmt.Sprintf("%d mm", mm)
	}
	n := int(math.Round(float64(mm) / 25.4 * 16))
	whole, part := n/16, n%16
	if part == 0 {
		return fmt.Sprintf("%d in", whole)
	}
	under := 16
	for part%2 == 0 {
		part, under = part/2, under/2
	}
	if whole == 0 {
		return fmt.Sprintf("%d/%d in", part, under)
	}
	return fmt.Sprintf("%d %d/%d in", whole, part, under)
}

// runsOf are the ducts as they are counted.
func runsOf(file *config.Shop) []takeoff.Run {
	mm := func(m float64) int { return int(math.Round(m * 1000)) }
	runs := make([]takeoff.Run, len(file.Ducts))
	for i, d := range file.Ducts {
		size := d.Pipe
		if size == "" {
			size = config.FormatQuantity(config.Length, d.Diameter, file.Units)
		}
		r := takeoff.Run{Name: d.Name, Size: size, Diameter: mm(d.Diameter), Length: mm(d.Length), Wall: orWord(strings.ReplaceAll(d.Wall, "_", " "), "pipe"),
			Flexible: strings.HasSuffix(d.Wall, "hose"), Metal: d.Wall == "galvanized" || d.Wall == "spiral" || d.Wall == "steel"}
		if d.Compressed > 0 && d.Compressed < 1 {
			r.Length = mm(d.Length / (1 - d.Compressed)) // a hose is bought stretched
		}
		for _, f := range d.Fittings {
			r.Fittings = append(r.Fittings, takeoff.Count{Kind: strings.ReplaceAll(f.Kind, "_", " "), N: f.Count})
		}
		for at := i; at >= 0; at = file.Ducts[at].Into {
			r.Way += mm(file.Ducts[at].Length)
		}
		runs[i] = r
	}
	for _, g := range file.Gates {
		if g.Duct < 0 {
			continue
		}
		kind := "hand"
		switch a := g.Actuator; {
		case a.Servo != nil:
			kind = "servo"
		case a.Relay != nil:
			kind = "relay"
		case a.Remote != nil:
			kind = "remote"
		}
		runs[g.Duct].Gate = &takeoff.Gate{Name: g.Name, Drive: kind}
	}
	return runs
}

func orWord(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

// inputsOf counts sensors, switches and buttons.
func inputsOf(file *config.Shop) takeoff.Inputs {
	in := takeoff.Inputs{Taps: len(file.Taps), ConverterChannels: 4}
	for _, t := range file.Taps {
		if t.Converter.Chip.Kind == "hsc" {
			in.Digital++
		}
	}
	line := func(l *config.Line) {
		if l != nil {
			in.EndSwitches++
		}
	}
	for _, m := range file.Machines {
		for _, s := range m.Sensors {
			switch {
			case s.Clamp != nil:
				in.Clamps++
			case s.Contact != nil:
				in.Contacts++
			case s.Button != nil:
				in.Buttons++
			}
		}
	}
	for _, c := range file.Collectors {
		if c.Proof == nil {
			continue
		}
		if c.Proof.Clamp != nil {
			in.Clamps++
		}
		if c.Proof.Contact != nil {
			in.Contacts++
		}
	}
	for _, g := range file.Gates {
		if g.Proof != nil {
			line(g.Proof.Open)
			line(g.Proof.Closed)
		}
		if g.Actuator.Hand != nil {
			line(g.Actuator.Hand.Open)
			line(g.Actuator.Hand.Closed)
		}
	}
	return in
}

// amount writes a row's count in the person's units.
func amount(file *config.Shop, n float64, unit string) string {
	switch unit {
	case "mm":
		return config.FormatQuantity(config.Length, n/1000, file.Units)
	case "pieces", "bars":
		return strconv.FormatFloat(n, 'f', -1, 64)
	}
	return strconv.FormatFloat(math.Round(n*100)/100, 'f', -1, 64) + " " + unit
}

// long is a length in metres, or in feet where people count in those.
func long(units config.Units, mm float64) (n float64, unit string) {
	if units == config.US {
		return mm / 304.8, "ft"
	}
	return mm / 1000, "m"
}

// putPrices puts the person's prices into the list, with the total, and names the items that it does not have.
func putPrices(l *takeoff.List, price map[string]float64, units config.Units) (unknown []string) {
	met := map[string]bool{}
	total := 0.0
	for i := range l.Rows {
		r := &l.Rows[i]
		p, ok := price[r.Item]
		if !ok {
			continue
		}
		met[r.Item] = true
		n := r.Spare
		if r.Unit == "mm" {
			n, _ = long(units, n)
		}
		cost := math.Round(p*n*100) / 100
		r.Price = &cost
		total += cost
	}
	for item := range price {
		if !met[item] {
			unknown = append(unknown, item)
		}
	}
	if len(price) > 0 {
		total = math.Round(total*100) / 100
		l.Total = &total
	}
	slices.Sort(unknown)
	return unknown
}

func money(p *float64) string {
	if p == nil {
		return ""
	}
	return strconv.FormatFloat(*p, 'f', 2, 64)
}

func takeoffTable(w io.Writer, file *config.Shop, l takeoff.List) error {
	fmt.Fprintf(w, "%s: what the ducts need. Measure in the shop before you cut.\n", file.Name)
	group := ""
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, r := range l.Rows {
		if r.Group != group {
			group = r.Group
			head := ""
			if l.Total != nil {
				head = "price"
			}
			fmt.Fprintf(t, "\n%s\t\twith spare\t%s\t\n", strings.ToUpper(group[:1])+group[1:], head)
		}
		fmt.Fprintf(t, "  %s\t%s\t%s\t%s\t%s\n", r.Item, amount(file, r.Count, r.Unit), amount(file, r.Spare, r.Unit), money(r.Price), r.Note)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if l.Total != nil {
		fmt.Fprintf(w, "\nTotal of the priced rows, with spare: %s\n", money(l.Total))
	}
	for _, c := range l.Cuts {
		bars, proof := fmt.Sprintf("%d stock lengths", len(c.Bars)), "fewer are impossible"
		if len(c.Bars) == 1 {
			bars, proof = "1 stock length", "fewer are impossible"
		}
		if !c.Proved {
			proof = "one less may be possible"
		}
		fmt.Fprintf(w, "\nCut %s from %s (%s):\n", c.Item, bars, proof)
		for i, b := range c.Bars {
			var parts []string
			for _, p := range b.Pieces {
				parts = append(parts, fmt.Sprintf("%s %s", cutLength(file.Units, p.Length), p.For))
			}
			rest := "nothing left"
			if b.Offcut > 0 {
				rest = "offcut " + cutLength(file.Units, b.Offcut)
			}
			fmt.Fprintf(w, "  %d: %s; %s\n", i+1, strings.Join(parts, " + "), rest)
		}
	}
	return nil
}

func takeoffCSV(w io.Writer, file *config.Shop, l takeoff.List) error {
	c := csv.NewWriter(w)
	c.Write([]string{"group", "item", "count", "unit", "with_spare", "price", "note"})
	for _, r := range l.Rows {
		n, spare, unit := r.Count, r.Spare, r.Unit
		if unit == "mm" {
			n, unit = long(file.Units, n)
			spare, _ = long(file.Units, spare)
		}
		c.Write([]string{r.Group, r.Item, thousandths(n), unit, thousandths(spare), money(r.Price), r.Note})
	}
	if l.Total != nil {
		c.Write([]string{"total", "priced rows, with spare", "", "", "", money(l.Total), ""})
	}
	c.Flush()
	return c.Error()
}

func thousandths(v float64) string {
	return strconv.FormatFloat(math.Round(v*1000)/1000, 'f', -1, 64)
}

// readPrices reads a person's own list.
func readPrices(path string) (map[string]float64, error) {
	if path == "" {
		return nil, nil
	}
	f, err := openFile(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	r := csv.NewReader(io.LimitReader(f, 1<<20))
	r.FieldsPerRecord = 2
	rows, err := r.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w; a price list is CSV with the columns item,price", path, err)
	}
	out := map[string]float64{}
	for i, row := range rows {
		p, err := strconv.ParseFloat(strings.TrimSpace(row[1]), 64)
		if err != nil || p < 0 || math.IsInf(p, 0) || math.IsNaN(p) {
			if i == 0 {
				continue // the header
			}
			return nil, fmt.Errorf("%s:%d: %q is not a price; write a number such as 12.50", path, i+1, row[1])
		}
		item := strings.TrimSpace(row[0])
		if _, twice := out[item]; twice {
			return nil, fmt.Errorf("%s:%d: %q has a price already; keep one of them", path, i+1, item)
		}
		out[item] = p
	}
	return out, nil
}
