package config

import (
	"net"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
)

func (r *reader) inputs(s *Shop) func(value) {
	return func(v value) {
		in := &s.Inputs
		v.mapping(
			may("ready", line(&in.Ready, input)),
			may("finish", line(&in.Finish, input)),
			may("halt", line(&in.Halt, input)),
			may("acknowledge", line(&in.Acknowledge, input)),
			may("disconnect_open", line(&in.DisconnectOpen, input)),
			may("fire", line(&in.Fire, input)),
			may("smoke", line(&in.Smoke, input)),
			may("bin_emptied", collectorInputs(&in.BinEmptied)),
			may("filter_cleaned", collectorInputs(&in.FilterClean)),
			may("filter_replaced", collectorInputs(&in.FilterChange)),
		)
	}
}

// collectorInputs reads one button that speaks of a collector, or a list of them.
func collectorInputs(dst *[]CollectorInput) func(value) {
	return func(v value) {
		if v.isList() {
			*dst = make([]CollectorInput, v.items(4))
			v.list(4, func(i int, v value) { collectorInput(&(*dst)[i])(v) })
			return
		}
		*dst = make([]CollectorInput, 1)
		collectorInput(&(*dst)[0])(v)
	}
}

func collectorInput(in *CollectorInput) func(value) {
	return func(v value) {
		in.Collector = -1
		named := false
		if v.r.listing != nil || v.isMapping() {
			fields, finish := lineFields(&in.Line, input)
			g := v.mapping(append(fields, may("of", reference(&in.Collector, aCollector)))...)
			named = g.has("of")
			finish(v, g)
		} else {
			v.line(&in.Line, input)
		}
		v.r.later = append(v.r.later, func(s *Shop) {
			switch {
			case named:
			case len(s.Collectors) == 1:
				in.Collector = 0
			case len(s.Collectors) == 0:
				v.problem("this button speaks of a collector, and the file has none", "", "collectors: [...]")
			default:
				v.problem("there are several collectors; say of which this button speaks", "", "{line: GPIO7, of: a collector's name}")
			}
		})
	}
}

func (r *reader) signals(s *Shop) func(value) {
	return func(v value) {
		v.free(16, "{line: GPIO19, shows: [alarm]}", func(name string, _, v value) {
			sig := &Signal{Name: name}
			fields, finish := lineFields(&sig.Line, output)
			g := v.mapping(append(fields,
				need("shows", shows(&sig.Shows)),
				may("longest", span(&sig.Longest, time.Second, time.Hour)),
			)...)
			finish(v, g)
			r.later = append(r.later, func(s *Shop) { s.Signals = append(s.Signals, *sig) })
		})
	}
}

func shows(dst *[]Shown) func(value) {
	return func(v value) {
		*dst = make([]Shown, v.items(16))
		v.list(16, func(i int, v value) {
			s := &(*dst)[i]
			s.Machine = -1
			if v.r.listing != nil || v.isMapping() {
				v.mapping(need("air_ready", reference(&s.Machine, aMachine)))
				s.What = ShowAirReady
				return
			}
			choice(&s.What, option[What]{"standing_by", ShowStandingBy}, option[What]{"no_air", ShowNoAir},
				option[What]{"alarm", ShowAlarm}, option[What]{"starting_soon", ShowStartingSoon}, option[What]{"air_ready", ShowAirReady})(v)
		})
	}
}

func (r *reader) alarms(s *Shop) func(value) {
	return func(v value) {
		v.free(100, "{on: 10 s, off: 5 s}", func(name string, at, v value) {
			a := AlarmSetting{Name: name, On: -1, Off: -1}
			v.mapping(may("on", span(&a.On, 0, time.Hour)), may("off", span(&a.Off, 0, time.Hour)))
			if r.listing != nil {
				return
			}
			if known := conditionNames(); !slices.Contains(known, name) {
				sentence := "there is no alarm of this name"
				if near := nearest(name, known); near != "" {
					sentence += "; did you mean " + near + "?"
				}
				at.problem(sentence, quote(name), strings.Join(known, ", "))
				return
			}
			s.Alarms = append(s.Alarms, a)
		})
	}
}

func (r *reader) page(s *Shop) func(value) {
	return func(v value) {
		p := &s.Page
		g := v.mapping(
			may("listen", listen(&p.Listen)),
			may("names", func(v value) {
				v.texts(16, func(v value, name string) {
					ok := func(c rune) bool {
						return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '-' || c == '.'
					}
					if strings.ContainsFunc(name, func(c rune) bool { return !ok(c) }) {
						v.problem("a host name has only letters, digits, - and points, and no port", quote(name), "shop.local")
						return
					}
					p.Names = append(p.Names, strings.ToLower(name))
				})
			}),
			may("cert", absolute(&p.Cert)),
			may("key", absolute(&p.Key)),
			may("viewing", choice(&p.Viewing, option[bool]{"login", false}, option[bool]{"open", true})),
			may("access", absolute(&p.Access)),
			may("texts", absolute(&p.Texts)),
		)
		if g.has("cert") != g.has("key") && g != nil {
			v.problem("a certificate and its key go together", "", "cert: and key:")
		}
	}
}

// listen reads host:port, or off.
func listen(dst *string) func(value) {
	return func(v value) {
		const accepted = `"127.0.0.1:8480", ":8480" for all networks, or off`
		s, ok := v.scalar(accepted)
		if !ok {
			return
		}
		if s == "off" || s == "no" {
			*dst = ""
			return
		}
		_, port, err := net.SplitHostPort(s)
		n, e := strconv.ParseUint(port, 10, 16)
		if err != nil || e != nil || n == 0 {
			v.problem("this is no address to listen at", quote(s), accepted)
			return
		}
		*dst = s
	}
}

func (r *reader) mqtt(s *Shop) func(value) {
	return func(v value) {
		m := &MQTT{Prefix: "ductwarden", DiscoveryPrefix: "homeassistant", BirthTopic: "homeassistant/status", BirthPayload: "online",
			Plain: true, Commands: CommandsStop}
		s.MQTT = m
		g := v.mapping(
			need("broker", broker(&m.Broker)),
			need("site", id(&m.Site)),
			may("client_id", func(v value) {
				ok := func(c rune) bool { return c > ' ' && c < 127 }
				v.wellFormed(&m.ClientID, 65, ok, "a client id has no spaces and only plain letters, digits and signs", "ductwarden-mossfen")
			}),
			may("user", text(&m.User, 100)),
			may("password_file", absolute(&m.PasswordFile)),
			may("tls", func(v value) {
				g := v.mapping(may("ca", absolute(&m.CA)), may("cert", absolute(&m.Cert)), may("key", absolute(&m.Key)), may("server_name", text(&m.ServerName, 253)))
				if g != nil && g.has("cert") != g.has("key") {
					v.problem("a certificate and its key go together", "", "cert: and key:")
				}
			}),
			may("prefix", topic(&m.Prefix)),
			may("discovery", choice(&m.Discovery, option[Discovery]{"device", DiscoveryDevice}, option[Discovery]{"single", DiscoverySingle}, option[Discovery]{"off", DiscoveryOff})),
			may("discovery_prefix", topic(&m.DiscoveryPrefix)),
			may("birth_topic", topic(&m.BirthTopic)),
			may("birth_payload", text(&m.BirthPayload, 100)),
			may("plain", yesNo(&m.Plain)),
			may("commands", choice(&m.Commands, option[Commands]{"none", CommandsNone}, option[Commands]{"stop", CommandsStop},
				option[Commands]{"requests", CommandsRequests}, option[Commands]{"start", CommandsStart})),
		)
		if g == nil {
			return
		}
		if !g.has("client_id") && m.Site != "" {
			m.ClientID = "ductwarden-" + m.Site
		}
		if !g.has("birth_topic") {
			m.BirthTopic = m.DiscoveryPrefix + "/status"
		}
		if u, err := url.Parse(m.Broker); err == nil && g.has("tls") && (u.Scheme == "tcp" || u.Scheme == "ws") {
			g["broker"].problem("tls is set up, and the broker's address speaks plainly", quote(m.Broker), "ssl://host:8883")
		}
		if m.User == "" && g.has("password_file") {
			m.User = m.ClientID // brokers want a name with a password; the client's own is the usual one
		}
	}
}

// broker reads the address of a broker; a password in it would end up in logs.
func broker(dst *string) func(value) {
	return func(v value) {
		const accepted = "tcp://host:1883, ssl://host:8883, ws://... or wss://..."
		var s string
		if !v.text(&s, 300) {
			return
		}
		u, err := url.Parse(s)
		switch {
		case err != nil || u.Host == "" || !slices.Contains([]string{"tcp", "ssl", "ws", "wss"}, u.Scheme):
			v.problem("this is no address of a broker", quote(s), accepted)
		case u.User != nil:
			v.problem("a user or password in the address would be written into logs", "an address with @", "user: and password_file:")
		case u.Port() == "" && (u.Scheme == "tcp" || u.Scheme == "ssl"):
			v.problem("the address of the broker lacks its port", quote(s), accepted)
		default:
			*dst = s
		}
	}
}

func (r *reader) journal(s *Shop) func(value) {
	return func(v value) {
		v.mapping(
			need("path", absolute(&s.Journal.Path)),
			may("keep", span(&s.Journal.Keep, 24*time.Hour, 36500*24*time.Hour)),
		)
	}
}
