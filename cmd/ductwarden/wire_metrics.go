package main

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"ductwarden/controller"
	"ductwarden/controller/broker"
	"ductwarden/controller/journal"
	"ductwarden/controller/loop"
	"ductwarden/controller/publish"
	"ductwarden/controller/publish/metrics"
)

// figures counts what the page serves to a scraper at /metrics. The control loop never waits for it: it reads
// published snapshots, and two histograms whose Observe takes no lock that is held for long.
type figures struct {
	*metrics.Metrics
	mu     sync.Mutex
	last   *controller.Snapshot
	totals *publish.Totals
	moving map[string]int64 // when a gate left its end, in milliseconds, by id
	end    context.CancelFunc
	done   sync.WaitGroup
}

// newFigures lays the figures out. Totals begin at seed, which is not changed; network is nil without a broker;
// more are further figures.
func newFigures(seed *publish.Totals, network *published, more ...metrics.Source) (*figures, error) {
	f := &figures{totals: seed.Clone(), moving: map[string]int64{}}
	sources := []metrics.Source{{Families: publish.ShopFamilies(), Samples: f.samples}}
	if network != nil {
		s := network.service
		sources = append(sources,
			metrics.Source{Families: broker.Families(), Samples: func() []publish.Sample { return s.Status().Samples() }},
			metrics.Source{Families: broker.RequestFamilies(), Samples: s.RequestSamples})
	}
	m, err := metrics.New(version, append(sources, more...)...)
	if err != nil {
		return nil, err
	}
	f.Metrics = m
	if network != nil {
		network.service.ObserveLag(m.Lag)
		network.service.Link().ObserveAcks(m.Ack)
	}
	return f, nil
}

func (f *figures) samples() []publish.Sample {
	f.mu.Lock()
	defer f.mu.Unlock()
	return publish.Samples(f.last, f.totals)
}

// scanned takes the time of one scan.
func (f *figures) scanned(took time.Duration) { f.Scan(took.Seconds()) }

// follow counts every snapshot until Close.
func (f *figures) follow(ctx context.Context, l *loop.Loop) {
	ctx, f.end = context.WithCancel(ctx)
	f.done.Go(func() {
		watch := l.Snapshots().Watch()
		defer watch.Close()
		for {
			select {
			case <-ctx.Done():
				return
			case <-watch.Changed():
				f.note(watch.Latest())
			}
		}
	})
}

// note counts what lies between the last snapshot and this one.
func (f *figures) note(s *controller.Snapshot) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.totals.Count(f.last, s)
	f.last = s
	for _, g := range s.Gates {
		from, moving := f.moving[g.ID]
		switch {
		case g.State == "opening" || g.State == "closing":
			if !moving {
				f.moving[g.ID] = s.AtMS
			}
			continue
		case moving && g.Proved && (g.State == "open" || g.State == "closed"):
			f.Stroke(float64(s.AtMS-from) / 1000) // without proof the time is what we assumed, not what it took
		}
		delete(f.moving, g.ID)
	}
}

// Close ends counting.
func (f *figures) Close() error {
	if f.end != nil {
		f.end()
	}
	f.done.Wait()
	return nil
}

// lifetime is what the journal at path has counted so far; nothing where there is none.
func lifetime(path string, log *slog.Logger) *publish.Totals {
	t := &publish.Totals{}
	if path == "" {
		return t.Clone()
	}
	book, err := journal.Read(path)
	if err != nil {
		log.Warn("totals begin at zero: " + err.Error())
		return t.Clone()
	}
	defer book.Close()
	sums, err := book.Tallies(time.Time{}, time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)) // a board without a clock writes odd days
	if err != nil {
		log.Warn("totals begin at zero: " + err.Error())
		return t.Clone()
	}
	t = t.Clone()
	for _, s := range sums {
		m, g, c := t.Machines[s.Subject], t.Gates[s.Subject], t.Collectors[s.Subject]
		switch s.What {
		case journal.MachineSeconds:
			m.RunMS = s.Value * 1000
		case journal.MachineStarts:
			m.Starts = s.Value
		case journal.GateMoves:
			g.Moves = s.Value
		case journal.CollectorSeconds:
			c.RunMS = s.Value * 1000
		case journal.CollectorStarts:
			c.Starts = s.Value
		default:
			continue
		}
		switch s.What {
		case journal.MachineSeconds, journal.MachineStarts:
			t.Machines[s.Subject] = m
		case journal.GateMoves:
			t.Gates[s.Subject] = g
		default:
			t.Collectors[s.Subject] = c
		}
	}
	return t
}
