package controller

// Snapshot is the state as people and other programs are shown it: on the console, the page, MQTT. The core
// fills what it knows, the loop adds readings. It is made anew each time and never changed afterwards, so it
// may be handed to any goroutine. Strings are the words of Mode, Phase and so on in lower case with
// underscores, and the ids of the shop file. Pointers are nil where a figure is unknown or not judged.
type Snapshot struct {
	AtMS       int64               `json:"at_ms"` // monotonic, since the program started
	Shop       string              `json:"shop"`
	Mode       string              `json:"mode"` // standing_by, on_duty, halted
	Why        string              `json:"why"`  // one sentence: what the automatic does and why
	Machines   []MachineSnapshot   `json:"machines"`
	Gates      []GateSnapshot      `json:"gates"`
	Collectors []CollectorSnapshot `json:"collectors"`
	Ducts      []DuctSnapshot      `json:"ducts"`
	Alarms     []AlarmSnapshot     `json:"alarms"`
	Shelved    []AlarmSnapshot     `json:"shelved,omitempty"` // put away for a while by a person, with a reason
	Taps       []TapSnapshot       `json:"taps,omitempty"`
	Chips      []ChipSnapshot      `json:"chips,omitempty"`
}

// ChipSnapshot is one chip, or one part on the network.
type ChipSnapshot struct {
	Name   string `json:"name"`
	Bus    string `json:"bus"`
	Why    string `json:"why,omitempty"` // it cannot be used: one sentence with the next step
	Resets int    `json:"resets"`        // how often it was found to have forgotten everything
}

// TapSnapshot is one place where pressure is measured.
type TapSnapshot struct {
	ID        string   `json:"id"`
	Name      string   `json:"name"`
	Collector string   `json:"collector"`
	Health    string   `json:"health"`            // good, lost, zero_wandered
	Pa        *float64 `json:"pa,omitempty"`      // less the zero as it was while the fan stood
	LowPa     *float64 `json:"low_pa,omitempty"`  // what the model allows for the gates now open: from here
	HighPa    *float64 `json:"high_pa,omitempty"` // to here; absent while something moves
}

// MachineSnapshot is one machine.
type MachineSnapshot struct {
	ID       string   `json:"id"`
	Name     string   `json:"name"`
	State    string   `json:"state"` // unknown, idle, running, running_down
	CurrentA *float64 `json:"current_a,omitempty"`
	Share    *float64 `json:"share,omitempty"`    // of the air it wants, by the model, for the pattern now open
	AirReady bool     `json:"air_ready"`          // its gates are open and the collector runs
	Health   string   `json:"health"`             // good, flat, late, lost ...
	Channel  *Channel `json:"channel,omitempty"`  // what its clamp's channel shows of itself
	LeftMS   int64    `json:"left_ms,omitempty"`  // of running down or of a button's time
	Unserved bool     `json:"unserved,omitempty"` // makes dust without its air
}

// Channel is what a converter's channel shows of itself, for a person who looks for a fault.
type Channel struct {
	Name   string   `json:"name"`              // chip and input
	BiasV  *float64 `json:"bias_v,omitempty"`  // without current
	NoiseA *float64 `json:"noise_a,omitempty"` // true RMS while idle, as learnt
	Gaps   uint32   `json:"gaps"`              // holes in its samples since the start
	Rails  uint32   `json:"rails"`             // samples at a rail of the converter since the start
	Why    string   `json:"why,omitempty"`     // what is wrong with it: one sentence with the next step
}

// GateSnapshot is one gate.
type GateSnapshot struct {
	ID       string `json:"id"`
	Name     string `json:"name"`
	State    string `json:"state"` // unknown, opening, open, closing, closed, failed
	Proved   bool   `json:"proved"`
	Hand     bool   `json:"hand"`                // moved by hand
	Selector string `json:"selector"`            // automatic, held_open, off
	Role     string `json:"role,omitempty"`      // needed, relief, held, or "" : why it is open
	LeftMS   int64  `json:"left_ms,omitempty"`   // of being held open
	StrokeMS int64  `json:"stroke_ms,omitempty"` // how long its latest move took that a switch has proved: it grows with wear
	ByAir    string `json:"by_air,omitempty"`    // what a pressure tap tells of it: open, closed, not_open
}

// CollectorSnapshot is one collector.
type CollectorSnapshot struct {
	ID         string   `json:"id"`
	Name       string   `json:"name"`
	Phase      string   `json:"phase"` // off, starting, running, clearing, lingering, coasting, start_failed, will_not_stop, by_hand
	Why        string   `json:"why"`   // reason of the phase, one sentence
	Selector   string   `json:"selector"`
	LeftMS     int64    `json:"left_ms,omitempty"` // of the phase, where it has an end
	RestMS     int64    `json:"rest_ms,omitempty"` // until it may start
	StartsLeft int      `json:"starts_left"`       // this hour
	StartsHour int      `json:"starts_per_hour"`
	Feedback   string   `json:"feedback"`  // none, still, turning, unreadable
	Transport  string   `json:"transport"` // carries, creeps, settles, not_judged: of the carrying ducts now
	Margin     *float64 `json:"margin,omitempty"`
	Weakest    string   `json:"weakest_duct,omitempty"`
	FlowM3S    *float64 `json:"flow_m3_s,omitempty"`
	SuctionPa  *float64 `json:"suction_pa,omitempty"` // measured at the inlet, where a tap is fitted
}

// DuctSnapshot is the model's air in one duct for the pattern now open; zero while no fan runs.
type DuctSnapshot struct {
	ID          string  `json:"id"`
	Name        string  `json:"name"`
	Collector   string  `json:"collector"`
	VelocityMS  float64 `json:"velocity_m_s"`
	TransportMS float64 `json:"transport_m_s"` // asked, margin included
	Carrying    bool    `json:"carrying"`      // on the way of a demanded port
	Verdict     string  `json:"verdict"`       // carries, creeps, settles, not_judged
}

// AlarmSnapshot is one standing alarm.
type AlarmSnapshot struct {
	Key          string `json:"key"`      // stable: condition and subject, "gate_not_open/planer"
	Text         string `json:"text"`     // what is wrong
	ToDo         string `json:"to_do"`    // what the person does next
	Priority     string `json:"priority"` // urgent, high, low
	Acknowledged bool   `json:"acknowledged"`
	Active       bool   `json:"active"` // false: gone, waits for acknowledgement
	SinceMS      int64  `json:"since_ms"`
	State        string `json:"state"`                 // unacknowledged, acknowledged, returned (gone, not acknowledged), shelved
	First        bool   `json:"first,omitempty"`       // appeared before all others in the list: usually their cause
	Cause        string `json:"cause,omitempty"`       // what it usually is
	Consequence  string `json:"consequence,omitempty"` // what follows if nobody acts
	LeftMS       int64  `json:"left_ms,omitempty"`     // of being shelved
	Reason       string `json:"reason,omitempty"`      // why it is shelved
}
