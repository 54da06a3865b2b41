package publish

import (
	"cmp"
	"fmt"
	"strings"
)

// Discovery says how the hub is told what exists.
type Discovery uint8

// The ways of discovery, as the shop file names them.
const (
	DiscoveryOff    Discovery = iota // off: nothing is announced
	DiscoveryDevice                  // device: one document for the whole shop
	DiscoverySingle                  // single: one document an entity, for consumers that know only this older form
)

// Commands says what may be asked over the network.
type Commands uint8

// The levels, as the shop file names them; each includes those before it.
const (
	CommandsNone     Commands = iota // none: nothing is even listened to
	CommandsStop                     // stop: finish and halt
	CommandsRequests                 // requests: also hold a gate open, automatic again, acknowledge
	CommandsStart                    // start: also Ready, and calling the air for a machine
)

// DefaultPrefix is the hub's own default for the prefix of its discovery protocol.
const DefaultPrefix = "homeassistant"

// Settings is what the shop file says about publishing.
type Settings struct {
	Site       string
	Tree       string // first levels of our own topics; "" is Program
	ClientID   string // MQTT client id; "" is made from the site
	Plain      bool   // plain topics beside the documents: one value each, for consumers without JSON
	Discovery  Discovery
	Prefix     string // of the discovery topics; "" is DefaultPrefix
	BirthTopic string // where the hub says that it has started; "" is status below the prefix
	BirthWord  string // what it says there; "" is online
	Commands   Commands
	Release    string // version of the program
	PageURL    string // http address of the page, for the hub's link; "" for none
}

// Topics of the site.
func (s Settings) Topics() Topics { return Topics{Prefix: s.Tree, Site: s.Site} }

// Client is the MQTT client id: the same at every start, so that the will of a session that died can never
// arrive after the next session's word.
func (s Settings) Client() string { return cmp.Or(s.ClientID, Program+"-"+s.Site) }

// device names the shop in the hub. It hangs on the site alone: neither the shop's name nor a client id makes
// a second device of it.
func (s Settings) device() string { return Program + "-" + s.Site }

// Check refuses a site or prefix that cannot stand in a topic.
func (s Settings) Check() error {
	if err := CheckID(s.Site); err != nil {
		return fmt.Errorf("site: %w", err)
	}
	for _, w := range []struct{ key, topic string }{{"prefix", s.prefix()}, {"birth topic", s.Birth()}, {"tree", cmp.Or(s.Tree, Program)}} {
		if strings.ContainsAny(w.topic, "#+\x00 ") || strings.HasPrefix(w.topic, "/") || strings.HasSuffix(w.topic, "/") {
			return fmt.Errorf("%s %q cannot be a topic; write it without #, +, spaces and outer slashes", w.key, w.topic)
		}
	}
	return nil
}

func (s Settings) prefix() string { return cmp.Or(s.Prefix, DefaultPrefix) }

// Birth is the topic on which the hub says that it has started.
func (s Settings) Birth() string { return cmp.Or(s.BirthTopic, s.prefix()+"/status") }

// Born reports whether a message on the birth topic says that the hub has started.
func (s Settings) Born(payload []byte) bool { return string(payload) == cmp.Or(s.BirthWord, Online) }

// ParseDiscovery reads the shop file's word.
func ParseDiscovery(word string) (Discovery, error) {
	i := find([]string{"off", "device", "single"}, func(w string) bool { return w == word })
	if i < 0 {
		return 0, fmt.Errorf("discovery %q is none of device, single, off", word)
	}
	return Discovery(i), nil
}

// ParseCommands reads the shop file's word.
func ParseCommands(word string) (Commands, error) {
	i := find([]string{"none", "stop", "requests", "start"}, func(w string) bool { return w == word })
	if i < 0 {
		return 0, fmt.Errorf("commands %q is none of none, stop, requests, start", word)
	}
	return Commands(i), nil
}

func (c Commands) String() string {
	return [...]string{"none", "stop", "requests", "start"}[min(c, CommandsStart)]
}
