package advice

import (
	"cmp"
	"slices"

	"ductwarden/controller/airflow"
	"ductwarden/controller/plan"
	"ductwarden/gates"
)

// Kind is what a remedy changes.
type Kind string

// The kinds of remedies.
const (
	Size   Kind = "duct_size"   // other standard sizes of one or a few ducts
	Relief Kind = "relief_gate" // a gate that opens only for its air
	Fan    Kind = "fan"         // a fan that moves more air
	Hose   Kind = "hose"        // a shorter, straighter or smoother hose
	Filter Kind = "filter"      // a filter cleaned before it is loaded
)

// Advice is what would mend one demand. All figures are SI.
type Advice struct {
	Machines []string `json:"machines"`
	Asked    bool     `json:"asked"` // a single machine, or a set that the person named
	Lacks    string   `json:"lacks"` // transport: it does not carry; air: a port gets less than it wants
	Before   Outcome  `json:"before"`
	Remedies []Remedy `json:"remedies"`
	// Nearest is the best that was tried where nothing mends it.
	Nearest *Remedy `json:"nearest,omitempty"`
}

// Outcome is a demand as the program would serve it: filter loaded, hand gates that nobody needs shut.
type Outcome struct {
	Open      []string `json:"open"`
	Carries   bool     `json:"carries"`
	Transport string   `json:"transport"`
	Margin    *float64 `json:"margin"` // least air speed over transport speed, less 1
	Weakest   string   `json:"weakest_duct,omitempty"`
	Speed     float64  `json:"weakest_m_s"` // there
	Asked     float64  `json:"asked_m_s"`   // of it, with the margin
	Share     *float64 `json:"share"`       // least flow over wanted at the demanded ports

	verdict airflow.Verdict
	open    gates.Set
}

// Remedy is one change that mends a demand.
type Remedy struct {
	Kind   Kind         `json:"kind"`
	Sizes  []SizeChange `json:"sizes,omitempty"`
	Relief *ReliefGate  `json:"relief,omitempty"`
	Fan    *FanWanted   `json:"fan,omitempty"`
	Hose   *HoseChange  `json:"hose,omitempty"`
	Filter *FilterLimit `json:"filter,omitempty"`

	After  Outcome  `json:"after"`
	Breaks []Effect `json:"breaks"` // demands that were well before and are not with it
	Mends  []Effect `json:"mends"`  // other demands that it mends

	net airflow.Network
}

// Best is the remedy to show where there is room for one: what spoils least of what was asked for, rather no stronger
// fan, what spoils least of the rest, the simplest. nil where nothing mends.
func (a *Advice) Best() *Remedy {
	var best *Remedy
	for k := range a.Remedies {
		r := &a.Remedies[k]
		if best == nil || cmp.Or(cmp.Compare(harm(r.Breaks, true), harm(best.Breaks, true)),
			boolean(r.Kind == Fan)-boolean(best.Kind == Fan), cmp.Compare(len(r.Breaks), len(best.Breaks))) < 0 {
			best = r
		}
	}
	return best
}

// Network is the shop's network with the remedy worked in.
func (r *Remedy) Network() airflow.Network { return r.net }

// SizeChange is another size of one duct.
type SizeChange struct {
	Duct string  `json:"duct"`
	From float64 `json:"from_m"` // inside diameters
	To   float64 `json:"to_m"`
	Pipe string  `json:"pipe"` // nominal size, as a shop file's `pipe` takes it
	at   int
}

// ReliefGate is a gate opened only for its air: one that is there, or a new one on a stub with an open end.
type ReliefGate struct {
	Gate     string  `json:"gate,omitempty"` // one that is there
	Why      string  `json:"why,omitempty"`  // never: the shop file forbids it; hand: a person moves it
	Into     string  `json:"into,omitempty"` // a new one: joins at the upstream end of this duct
	Pipe     string  `json:"pipe,omitempty"`
	Diameter float64 `json:"diameter_m,omitempty"`
	Length   float64 `json:"length_m,omitempty"`
}

// FanWanted is the operating point that a fan would have to make.
type FanWanted struct {
	Flow     float64 `json:"flow_m3_s"`
	Pressure float64 `json:"pressure_pa"` // fan static pressure in the shop's air
	Now      float64 `json:"now_pa"`      // what the shop's fan makes at that flow
	NowFlow  float64 `json:"now_m3_s"`    // what it moves with the gates that open for the demand now
	Faster   float64 `json:"faster"`      // the same curve, turned so many times as fast (fan laws), makes it
	// PowerTimes is what that takes of the power it takes now: the cube of Faster (fan laws).
	PowerTimes float64  `json:"power_times"`
	Power      *float64 `json:"power_w"` // of that motor, where a power curve is given
}

// HoseChange is one hose changed.
type HoseChange struct {
	Duct   string  `json:"duct"`
	How    string  `json:"how"`                // straight, smooth, shorter, rigid
	Length float64 `json:"length_m,omitempty"` // shorter: at most so long
	From   float64 `json:"from_m,omitempty"`
	Wall   string  `json:"wall,omitempty"`
}

// FilterLimit is how far the filter may load until the demand fails.
type FilterLimit struct {
	Loss   float64 `json:"loss_pa"`   // across the filter with the demand's gates open: clean it before
	Flow   float64 `json:"flow_m3_s"` // at this flow
	Loaded float64 `json:"loaded_pa"` // the loaded filter's loss at the same flow
}

// Advisor knows one shop.
type Advisor struct {
	shop  Shop
	full  airflow.Ratio
	crews []airflow.Crew
	now   *trial
	was   []Outcome // of the crews
}

// New judges every demand of a shop as it is.
func New(s Shop) (*Advisor, error) {
	now, err := try(&s, s.Network)
	if err != nil {
		return nil, err
	}
	s.Network, s.asIs = *now.model.Network(), now.model // with the defaults filled in
	a := &Advisor{shop: s, full: s.Options.Full, now: now}
	if a.full == 0 {
		a.full = plan.DefaultFull
	}
	a.crews = s.crews()
	for _, c := range a.crews {
		a.was = append(a.was, now.outcome(c))
	}
	return a, nil
}

// Failing lists the demands that want mending: those that do not carry, of the asked ones the worst first, then of
// the others those that nearly carry first; and after them the asked ones that carry but leave a port short of air.
func (a *Advisor) Failing() []airflow.Crew {
	var at []int
	for i := range a.crews {
		if a.lacks(i) != "" {
			at = append(at, i)
		}
	}
	slices.SortStableFunc(at, func(x, y int) int {
		if c := cmp.Or(cmp.Compare(a.lacks(y), a.lacks(x)), boolean(a.crews[y].Asked)-boolean(a.crews[x].Asked)); c != 0 {
			return c
		}
		vx, vy := a.was[x].verdict, a.was[y].verdict
		if !a.crews[x].Asked {
			vx, vy = vy, vx
		}
		switch {
		case airflow.Worse(vx, vy):
			return -1
		case airflow.Worse(vy, vx):
			return 1
		}
		return 0
	})
	out := make([]airflow.Crew, len(at))
	for k, i := range at {
		out[k] = a.crews[i]
	}
	return out
}

func boolean(b bool) int {
	if b {
		return 1
	}
	return 0
}

// lacks says what is wrong with a demand.
func (a *Advisor) lacks(i int) string {
	switch v := a.was[i].verdict; {
	case v.Grade == airflow.NotJudged:
	case v.Grade != airflow.Carries:
		return "transport"
	case a.crews[i].Asked && a.short(v):
		return "air"
	}
	return ""
}

func (a *Advisor) short(v airflow.Verdict) bool {
	return v.Share != airflow.NoRatio && v.Share < a.full
}

// For works out what would mend a demand, simplest first.
func (a *Advisor) For(c airflow.Crew) Advice {
	i := slices.IndexFunc(a.crews, func(o airflow.Crew) bool { return o.Machines == c.Machines })
	if i < 0 {
		return Advice{}
	}
	j := &job{Advisor: a, crew: a.crews[i], was: a.was[i], lacks: a.lacks(i)}
	out := Advice{Machines: a.shop.names(c.Machines), Asked: j.crew.Asked, Lacks: j.lacks, Before: j.was, Remedies: []Remedy{}}
	if j.lacks == "" {
		return out
	}
	for _, remedies := range []func() []Remedy{j.hoses, j.reliefs, j.sizes, j.filter, j.fan} {
		out.Remedies = append(out.Remedies, remedies()...)
	}
	for k := range out.Remedies {
		a.effects(&out.Remedies[k], j.crew)
	}
	if len(out.Remedies) == 0 && j.best != nil {
		out.Nearest = j.best
		a.effects(out.Nearest, j.crew)
	}
	return out
}

// job is the advice on one demand while it is worked out.
type job struct {
	*Advisor
	crew  airflow.Crew
	was   Outcome
	lacks string
	best  *Remedy // the best that does not mend it
}

// mends tries a remedy; where it mends the demand, After is filled in. What takes air from a port that is short of it
// is no remedy.
func (j *job) mends(r *Remedy) bool {
	t, err := try(&j.shop, r.net)
	if err != nil {
		return false // a network that cannot be: no remedy
	}
	r.After = t.outcome(j.crew)
	v := r.After.verdict
	ok := v.Grade == airflow.Carries && (!j.short(v) || j.lacks != "air" && v.Share >= j.was.verdict.Share)
	if !ok && r.Kind != Fan && j.worse(j.was.verdict, v) && (j.best == nil || j.worse(j.best.After.verdict, v)) {
		b := *r
		j.best = &b
	}
	return ok
}

// worse orders verdicts for what the demand lacks.
func (j *job) worse(a, b airflow.Verdict) bool {
	if j.lacks == "air" && a.Grade == b.Grade {
		return a.Share < b.Share
	}
	return airflow.Worse(a, b)
}
