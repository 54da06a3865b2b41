package config

import (
	"slices"
	"strings"

	"ductwarden/controller/airflow"
)

// The most ducts and ports that a file may have; 64 gates need fewer.
const (
	maxDucts = 200
	maxPorts = 200
)

func (r *reader) ducts(s *Shop) func(value) {
	return func(v value) {
		s.Ducts = make([]Duct, v.items(maxDucts))
		for i := range s.Ducts {
			s.Ducts[i].Into, s.Ducts[i].Collector = -1, -1
		}
		v.list(maxDucts, func(i int, v value) {
			d := &s.Ducts[i]
			g := v.mapping(
				need("name", text(&d.Name, longestName)),
				may("id", id(&d.ID)),
				need("into", func(v value) {
					var name string
					if v.text(&name, longestName) {
						v.refer(name, func(_ *Shop, n noun, place int) {
							if n == aDuct {
								d.Into = place
							} else {
								d.Collector = place
							}
						}, aDuct, aCollector)
					}
				}),
				may("diameter", quantity(Length, &d.Diameter, 0.02, 1)),
				may("pipe", pipe(d)),
				need("length", quantity(Length, &d.Length, 0.001, 200)),
				may("wall", func(v value) { v.word(&d.Wall, airflow.WallKinds(), "wall") }),
				may("roughness", quantity(Length, &d.Roughness, 0, 0.02)),
				may("compressed", quantity(Fraction, &d.Compressed, 0, 0.75)),
				may("fittings", fittings(&d.Fittings)),
				may("loss", number(&d.Loss, -5, 100, "loss")),
				may("transport", func(v value) {
					t := s.Transport // what the file says is put in once all is read
					d.Transport = &t
					t2 := airflow.Transport{Carries: -1, Settles: -1, Margin: -1}
					v.mapping(
						may("carries", quantity(Speed, &t2.Carries, 5, 35)),
						may("settles", quantity(Speed, &t2.Settles, 2, 30)),
						may("margin", quantity(Fraction, &t2.Margin, 0, 0.5)),
					)
					v.r.later = append(v.r.later, func(s *Shop) { d.ownTransport(v, s.Transport, t2) })
				}),
			)
			r.enter(aDuct, i, v, g, &d.Name, &d.ID)
			if g == nil {
				return
			}
			if g.has("diameter") == g.has("pipe") {
				v.problem("the duct's width is told by its inside diameter or by a pipe's nominal size; give one of them", "", "diameter: 125 mm, or pipe: a nominal size")
			}
			if g.has("wall") == g.has("roughness") {
				v.problem("the duct's wall is told by its kind or by its roughness; give one of them", "", "wall: galvanized, or roughness: 0.1 mm")
			}
			if at, has := g["compressed"]; has && g.has("wall") && !strings.HasSuffix(d.Wall, "hose") {
				at.problem("only a hose can be compressed", quote(d.Wall), "a wall that is a hose")
			}
		})
	}
}

// ownTransport mixes a duct's own transport speeds with the shop's.
func (d *Duct) ownTransport(v value, shop, own airflow.Transport) {
	t := shop
	if own.Carries >= 0 {
		t.Carries = own.Carries
	}
	if own.Settles >= 0 {
		t.Settles = own.Settles
	}
	if own.Margin >= 0 {
		t.Margin = own.Margin
	}
	if t.Settles > t.Carries {
		v.problem("settles is above carries: the duct would settle and carry at once", FormatQuantity(Speed, t.Settles, Metric)+" above "+FormatQuantity(Speed, t.Carries, Metric), "settles below carries")
	}
	*d.Transport = t
}

func pipe(d *Duct) func(value) {
	return func(v value) {
		var s string
		if !v.text(&s, longestName) {
			return
		}
		known, ok := airflow.PipeOf(s)
		if !ok {
			v.problem("this nominal size of pipe is not known; give the inside diameter instead", quote(s), oneOf(pipeSizes()))
			return
		}
		d.Pipe, d.Diameter = s, known.Inside
	}
}

// word reads one of a list of kinds.
func (v value) word(dst *string, known []string, what string) {
	s, ok := v.scalar(oneOf(known))
	if !ok {
		return
	}
	if slices.Contains(known, s) {
		*dst = s
		return
	}
	sentence := "this kind of " + what + " is not known"
	if near := nearest(s, known); near != "" {
		sentence += "; did you mean " + near + "?"
	}
	v.problem(sentence, quote(s), oneOf(known))
}

// fittings reads kinds with their number, or with number and the person's own coefficient.
func fittings(dst *[]Fitting) func(value) {
	return func(v value) {
		known := airflow.FittingKinds()
		if v.r.listing != nil {
			v = value{r: v.r, path: v.path + ".*"}
			f := Fitting{}
			v.mapping(fittingFields(&f)...)
			return
		}
		v.free(20, "a number", func(kind string, at, v value) {
			f := Fitting{Kind: kind, Loss: -1}
			own := v.isMapping()
			if own {
				g := v.mapping(fittingFields(&f)...)
				own = g.has("loss")
			} else {
				integer(&f.Count, 0, 50, "the number of fittings")(v)
			}
			if !slices.Contains(known, kind) && !own {
				sentence := "this kind of fitting is not known"
				if near := nearest(kind, known); near != "" {
					sentence += "; did you mean " + near + "?"
				}
				at.problem(sentence, quote(kind), oneOf(known)+"; or any name with {count: 1, loss: its coefficient}")
				return
			}
			*dst = append(*dst, f)
		})
	}
}

func fittingFields(f *Fitting) []field {
	return []field{
		need("count", integer(&f.Count, 0, 50, "the number of fittings")),
		may("loss", number(&f.Loss, 0, 20, "the coefficient of a fitting")),
	}
}

func (r *reader) ports(s *Shop) func(value) {
	return func(v value) {
		s.Ports = make([]Port, v.items(maxPorts))
		for i := range s.Ports {
			s.Ports[i].Duct = -1
		}
		v.list(maxPorts, func(i int, v value) {
			p := &s.Ports[i]
			g := v.mapping(
				need("name", text(&p.Name, longestName)),
				may("id", id(&p.ID)),
				need("duct", reference(&p.Duct, aDuct)),
				may("hood", func(v value) { v.word(&p.Hood, airflow.HoodKinds(), "hood") }),
				may("hood_loss", number(&p.HoodLoss, 0, 50, "hood_loss")),
				may("airflow", quantity(Flow, &p.Airflow, 0.002, 5)),
			)
			r.enter(aPort, i, v, g, &p.Name, &p.ID)
			if g != nil && g.has("hood") == g.has("hood_loss") {
				v.problem("how air enters is told by the kind of hood or by its coefficient; give one of them", "", "hood: plain, or hood_loss: 0.65")
			}
		})
	}
}

func (r *reader) taps(s *Shop) func(value) {
	return func(v value) {
		s.Taps = make([]Tap, v.items(32))
		v.list(32, func(i int, v value) {
			t := &s.Taps[i]
			t.Of, t.Above, t.Below, t.Drift, t.Delay = -1, 0.3, 0.3, 20, 20e9
			var at, across TapPlace
			var of string
			var digital Chip
			fields := append([]field{
				need("name", text(&t.Name, longestName)),
				may("id", id(&t.ID)),
				may("at", choice(&at, option[TapPlace]{"inlet", AtInlet}, option[TapPlace]{"duct", AtDuct}, option[TapPlace]{"port", AtPort})),
				may("across", choice(&across, option[TapPlace]{"filter", AcrossFilter}, option[TapPlace]{"separator", AcrossSeparator})),
				may("of", text(&of, longestName)),
				may("zero", quantity(Voltage, &t.Zero, 0, 5.5)),
				may("scale", quantity(PressureScale, &t.Scale, 1e-6, 1)),
				may("chip", chip(&digital, "hsc")),
				may("lowest", quantity(Pressure, &t.Lowest, -100_000, 100_000)),
				may("highest", quantity(Pressure, &t.Highest, -100_000, 100_000)),
				may("drift", quantity(Pressure, &t.Drift, 1, 1000)),
				may("above", quantity(Fraction, &t.Above, 0.05, 2)),
				may("below", quantity(Fraction, &t.Below, 0.05, 0.95)),
				may("delay", span(&t.Delay, 1e9, 600e9)),
			}, converterFields(&t.Converter, "ads1115", "mcp3208")...)
			for i := range fields {
				fields[i].need = fields[i].key == "name" // what else is needed depends on the transducer
			}
			g := v.mapping(fields...)
			r.enter(aTap, i, v, g, &t.Name, &t.ID)
			if g == nil {
				return
			}
			if g.has("chip") {
				t.Converter = Converter{Chip: digital, Against: -1}
				v.r.later = append(v.r.later, func(*Shop) { t.Converter.Chip.Bus = digital.Bus }) // known only by then
			}
			if !v.transducer(t, g) {
				return
			}
			if g.has("at") == g.has("across") {
				v.problem("a pressure tap is at a place or across a part; give one of them", "", "at: inlet, duct or port; or across: filter or separator")
				return
			}
			t.At = at
			if g.has("across") {
				t.At = across
			}
			sort := aCollector
			switch t.At {
			case AtDuct:
				sort = aDuct
			case AtPort:
				sort = aPort
			}
			v.tapOf(s, t, g, of, sort)
		})
	}
}

// transducer looks at what gives the pressure: a voltage at a converter, or a chip that measures it itself.
func (v value) transducer(t *Tap, g given) bool {
	analog, digital := []string{"adc", "channel", "zero", "scale"}, []string{"chip", "lowest", "highest"}
	if g.has("adc") == g.has("chip") {
		v.problem("a transducer gives a voltage to a converter, or speaks on the bus itself; give one of them", "", "adc: with channel, zero and scale; or chip: with lowest and highest")
		return false
	}
	wanted, others := analog, append(digital, "")
	if g.has("chip") {
		wanted, others = digital, append(analog, "against")
	}
	sound := true
	for _, key := range wanted {
		if !g.has(key) {
			v.problem("the key "+key+" is missing", "", key+": beside "+wanted[0]+":")
			sound = false
		}
	}
	for _, key := range others {
		if at, has := g[key]; has {
			at.problem("this key belongs to the other sort of transducer, beside "+others[0]+":", key, "no such key")
			sound = false
		}
	}
	switch {
	case !sound:
		return false
	case g.has("adc"):
		v.checkConverter(&t.Converter, g, false, v.path)
	case t.Highest <= t.Lowest:
		g["highest"].problem("the range of the transducer ends before it begins", FormatQuantity(Pressure, t.Highest, Metric), "more than lowest, by the part's number")
	default:
		at := g["chip"]
		v.r.later = append(v.r.later, func(*Shop) {
			if t.Converter.Chip.Bus >= 0 {
				v.r.uses.input(at, t.Converter, 0, false, v.path)
			}
		})
	}
	return true
}

// tapOf finds what the tap measures; with one collector its name may be left out.
func (v value) tapOf(s *Shop, t *Tap, g given, of string, sort noun) {
	if g.has("of") {
		g["of"].refer(of, func(_ *Shop, _ noun, place int) { t.Of = place }, sort)
		return
	}
	v.r.later = append(v.r.later, func(s *Shop) {
		if sort == aCollector && len(s.Collectors) == 1 {
			t.Of = 0
			return
		}
		v.problem("what the tap measures is missing", "", "of: the name of a "+string(sort))
	})
}
