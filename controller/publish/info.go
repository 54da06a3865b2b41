package publish

import "encoding/json"

// Info is what the info topic says of the program that publishes.
type Info struct {
	V        int    `json:"v"`
	Program  string `json:"program"` // version
	BootID   string `json:"boot_id"` // of this start of the program; seq and mono_ms begin anew with it
	Started  string `json:"started"`
	Session  int    `json:"session"` // connections since the start, this one included
	Clock    string `json:"clock"`   // set or not_set
	Shop     string `json:"shop"`
	Site     string `json:"site"`
	Commands string `json:"commands"`
}

// Info is the message for one session. boot names this start of the program.
func (s Settings) Info(shop Shop, boot string, session int, m Moment) Message {
	clock := "not_set"
	if m.Synced {
		clock = "set"
	}
	b, err := json.Marshal(Info{
		V: 1, Program: s.Release, BootID: boot, Started: m.At(0).UTC().Format(stamp), Session: session, Clock: clock,
		Shop: shop.Name, Site: s.Site, Commands: s.Commands.String(),
	})
	if err != nil { // strings and numbers cannot fail
		return Message{}
	}
	return Message{Topic: s.Topics().Info(), Payload: b, Retained: true, QoS: 1}
}
