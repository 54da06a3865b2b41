package loop

import "time"

// signalState is what a lamp or a horn does.
type signalState struct {
	on, silenced bool
	since        time.Duration
}

// show brings the signals to what they show. Levels are written again at every scan.
func (l *Loop) show(now time.Duration) {
	for i := range l.parts.Signals {
		s, st := &l.parts.Signals[i], &l.signals[i]
		want := false
		for _, x := range s.Shows {
			want = want || l.shown(x)
		}
		if want != st.on {
			st.on, st.since, st.silenced = want, now, false
		}
		if want && s.Longest > 0 && now-st.since >= s.Longest {
			st.silenced = true
		}
		if err := s.Line.Set(want && !st.silenced); err != nil {
			l.stats.outputs.Add(1)
		}
	}
}

func (l *Loop) shown(x Shown) bool {
	switch x.What {
	case StandingBy:
		return l.out.StandingBy
	case NoAir:
		return l.out.NoAir
	case Alarm:
		return l.out.Alarm || l.parts.Alarms != nil && l.parts.Alarms.Sounds()
	case StartingSoon:
		return l.out.StartingSoon
	case AirReady:
		return x.Machine < 0 && !l.out.AirReady.Empty() || x.Machine >= 0 && l.out.AirReady.Has(x.Machine)
	}
	return false
}
