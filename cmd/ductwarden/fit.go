package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"
	"go.yaml.in/yaml/v3"

	"ductwarden/config"
	"ductwarden/controller/airflow"
	"ductwarden/controller/airflow/fit"
	"ductwarden/gates"
)

// fitVerb brings the model to what was measured.
func fitVerb() *cobra.Command {
	var loaded, write, asJSON bool
	c := &cobra.Command{
		Use:   "fit SHOP READINGS",
		Short: "Fit the airflow model to readings taken in the shop",
		Long: "Reads air speeds, flows or suctions that you measured with some gates open, and fits the uncertain numbers of the\n" +
			"model to them: fan, filter, hoses, hoods, leaks. It says what the readings determine and what they leave open, and\n" +
			"shows predicted beside measured. With --write it puts " + config.FittedName + " beside the shop file; every verb uses it from then on.\n\n" +
			"READINGS is CSV with the header open,place,quantity,value: the open gates joined by +, a port or duct:NAME, one of\n" +
			"speed, flow, pressure (suction, without a sign), and the value with its unit. Keep hands, hair and sleeves away from\n" +
			"open ports and gates: they move, and the fan starts without warning. Measure with the machines switched off and\n" +
			"their own disconnects open.",
		Example: "  ductwarden fit shop.yaml readings.csv --write\n\n  open,place,quantity,value\n  planer,planer,speed,23.4 m/s\n  lathe+bandsaw,duct:trunk,pressure,1450 Pa",
		Args:    cobra.ExactArgs(2),
		RunE: func(c *cobra.Command, args []string) error {
			path := args[0]
			file, err := config.Load(path)
			if err != nil {
				return err
			}
			file.Fitted = nil // fit anew from the defaults, not on top of the last fit
			state := airflow.Clean
			if loaded {
				state = airflow.Loaded
			}
			sheets, err := readReadings(args[1], file)
			if err != nil {
				return err
			}
			results, out, err := fitSheets(file, sheets, state)
			if err != nil {
				return fmt.Errorf("%s: %w", args[1], err)
			}
			if asJSON {
				e := json.NewEncoder(c.OutOrStdout())
				e.SetIndent("", "  ")
				if err := e.Encode(out); err != nil {
					return err
				}
			} else {
				for _, r := range results {
					if err := r.table(c.OutOrStdout(), file); err != nil {
						return err
					}
				}
			}
			if !write {
				return nil
			}
			to := filepath.Join(filepath.Dir(path), config.FittedName)
			if err := writeFitted(to, out); err != nil {
				return err
			}
			if !asJSON {
				fmt.Fprintf(c.OutOrStdout(), "\nWritten to %s; every verb uses it from now on. Delete it to go back to the defaults.\n", to)
			}
			return nil
		},
	}
	f := c.Flags()
	f.BoolVar(&loaded, "loaded", false, "the filter was loaded when you measured (default: clean)")
	f.BoolVar(&write, "write", false, "write "+config.FittedName+" beside the shop file")
	f.BoolVar(&asJSON, "json", false, "the fitted numbers as JSON")
	return c
}

// fitSheets brings each collector's model to its readings.
func fitSheets(file *config.Shop, sheets map[string][]fit.Reading, state airflow.State) (results []fitted, out config.FittedFile, err error) {
	out = config.FittedFile{Shop: file.Name, Measured: time.Now().Format("2006-01-02")}
	for _, tree := range file.Trees() {
		readings := sheets[tree.Network.Name]
		if len(readings) == 0 {
			continue
		}
		r, err := fit.Fit(tree.Network, readings, state)
		if err != nil {
			return nil, out, err
		}
		results = append(results, fitted{tree.Network.Name, r})
		for _, f := range r.Factors {
			out.Factors = append(out.Factors, config.FittedFactor{Collector: tree.Network.Name, Of: string(f.Kind), Name: f.Name,
				Factor: round4(f.Value), Within: round4(f.Known), Determined: f.Determined})
		}
	}
	return results, out, nil
}

func round4(v float64) float64 {
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 4, 64), 64)
	return r
}

// readReadings reads the sheet and sorts it by collector.
func readReadings(path string, file *config.Shop) (map[string][]fit.Reading, error) {
	f, err := openFile(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return readSheet(path, f, file)
}

// readSheet reads a sheet from anywhere; path stands in its errors.
func readSheet(path string, f io.Reader, file *config.Shop) (map[string][]fit.Reading, error) {
	rows := csv.NewReader(io.LimitReader(f, 1<<20))
	rows.FieldsPerRecord, rows.TrimLeadingSpace, rows.Comment = 4, true, '#'
	out := map[string][]fit.Reading{}
	trees := file.Trees()
	for n := 0; ; n++ {
		row, err := rows.Read()
		if err == io.EOF {
			break
		}
		line, _ := rows.FieldPos(0)
		if err != nil {
			return nil, fmt.Errorf("%s: %w; a sheet of readings is CSV with the header open,place,quantity,value", path, err)
		}
		if n == 0 {
			if strings.Join(row, ",") != "open,place,quantity,value" {
				return nil, fmt.Errorf("%s:%d: the header is %q; it should be open,place,quantity,value", path, line, clip(strings.Join(row, ","), 60))
			}
			continue
		}
		r := fit.Reading{Where: fmt.Sprintf("line %d", line)}
		bad := func(format string, a ...any) error {
			return fmt.Errorf("%s:%d: %s", path, line, fmt.Sprintf(format, a...))
		}
		for _, name := range strings.Split(row[0], "+") {
			if name = strings.TrimSpace(name); name == "" {
				continue
			}
			g := gateNamed(file, name)
			if g < 0 {
				return nil, bad("there is no gate %q in the shop file", name)
			}
			r.Open = r.Open.With(g)
		}
		kind := config.Speed
		switch strings.TrimSpace(row[2]) {
		case "speed":
			r.Quantity = fit.Speed
		case "flow":
			r.Quantity, kind = fit.Flow, config.Flow
		case "pressure":
			r.Quantity, kind = fit.Static, config.Pressure
		default:
			return nil, bad("%q is not speed, flow or pressure", row[2])
		}
		if r.Value, err = config.ParseQuantity(kind, strings.TrimSpace(row[3])); err != nil {
			return nil, bad("%v", err)
		}
		place, collector := strings.TrimSpace(row[1]), -1
		duct, isDuct := strings.CutPrefix(place, "duct:")
		for c, t := range trees {
			if isDuct {
				for i, d := range t.Network.Ducts {
					if d.Name == duct {
						r.Place, collector = i, c
					}
				}
			} else {
				for i, p := range t.Network.Ports {
					if p.Name == place {
						r.Port, r.Place, collector = true, i, c
					}
				}
			}
		}
		if collector < 0 {
			return nil, bad("there is no port %q in the shop file; a duct is written duct:NAME", place)
		}
		mine := gates.Set(0)
		for _, g := range trees[collector].Network.Gates {
			mine = mine.With(g.Number)
		}
		r.Open &= mine
		name := trees[collector].Network.Name
		out[name] = append(out[name], r)
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("%s: there are no readings; measure the air speed at a few ports with their gates open", path)
	}
	return out, nil
}

func gateNamed(file *config.Shop, name string) int {
	for i, g := range file.Gates {
		if g.Name == name || g.ID == name {
			return i
		}
	}
	return -1
}

// fitted is one collector's fit.
type fitted struct {
	collector string
	*fit.Result
}

var fitWords = map[fit.Kind]string{fit.FanPressure: "fan, pressure", fit.FanFlow: "fan, flow", fit.FilterLoss: "filter loss", fit.Hose: "hose friction", fit.Hood: "hood loss", fit.Leaks: "leaks of closed gates"}

func (f fitted) table(w io.Writer, file *config.Shop) error {
	fmt.Fprintf(w, "%s, %s\n\nReadings:\n", file.Name, f.collector)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "  where\topen\tplace\tmeasured\tmodel before\tmodel after\toff by\t")
	kinds := map[fit.Quantity]config.Kind{fit.Speed: config.Speed, fit.Flow: config.Flow, fit.Static: config.Pressure}
	for _, r := range f.Readings {
		k := kinds[r.Quantity]
		place := ""
		if r.Port {
			place = f.Network.Ports[r.Place].Name
		} else {
			place = "duct " + f.Network.Ducts[r.Place].Name
		}
		fmt.Fprintf(t, "  %s\t%s\t%s\t%s\t%s\t%s\t%+.0f %%\t\n", r.Where, openGates(file, r.Open), place, config.FormatQuantity(k, r.Value, file.Units),
			config.FormatQuantity(k, r.Before, file.Units), config.FormatQuantity(k, r.After, file.Units), (r.After/r.Value-1)*100)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w, "\nUncertain numbers, as factors on their defaults:")
	t = tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "  number\tof\tfactor\twithin\twas within\t\t")
	for _, x := range f.Factors {
		said := "left open by these readings"
		if x.Determined {
			said = "determined"
		}
		fmt.Fprintf(t, "  %s\t%s\t%.2f\t%.2f times\t%.2f times\t%s\t\n", fitWords[x.Kind], x.Name, x.Value, x.Known, x.Prior, said)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for _, n := range f.Notes {
		fmt.Fprintf(w, "\n%s.\n", strings.ToUpper(n[:1])+n[1:])
	}
	if x, err := f.Next(); err != nil {
		return err
	} else if x != nil {
		fmt.Fprintf(w, "\nMost would be learnt from the air speed at port %s with %s open: the model knows it within %.2f times.\n", f.Network.Ports[x.Port].Name, openGates(file, x.Open), x.Within)
	}
	return nil
}

// openGates names the open gates of a reading as its sheet does.
func openGates(file *config.Shop, open gates.Set) string {
	var names []string
	for g := range open.All() {
		names = append(names, file.Gates[g].Name)
	}
	if names == nil {
		return "no gate"
	}
	return strings.Join(names, " + ")
}

// writeFitted writes the file anew and swaps it in, so that a cut leaves the old one.
func writeFitted(path string, f config.FittedFile) error {
	b, err := yaml.Marshal(f)
	if err != nil {
		return err
	}
	head := "# Numbers of the airflow model fitted to readings, as factors on their defaults. Made by `fit --write`.\n"
	return replaceFile(path, append([]byte(head), b...))
}
