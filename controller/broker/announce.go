package broker

import (
	"math/rand/v2"
	"time"

	"ductwarden/controller/publish"
)

// announce compares the shop file with what the last start left on the broker, and begins to mend it.
func (s *Service) announce() error {
	b, err := s.c.Memory.Load()
	var before publish.Manifest
	if err == nil {
		before, err = publish.ReadManifest(b)
	}
	a := publish.Announce(s.c.Publish, s.c.Shop, before)
	s.stages, s.after = a.Stages, a.After
	if e := s.save(a.Before); err == nil {
		err = e
	}
	s.stage()
	return err
}

func (s *Service) save(m publish.Manifest) error {
	b := m.Encode()
	if string(b) == s.saved {
		return nil
	}
	if err := s.c.Memory.Save(b); err != nil {
		return err
	}
	s.saved = string(b)
	return nil
}

// stage lays the next stage of the announcement down. A topic that is cleared and yet told is told: what is
// cleared comes from the last start, what is told from this one.
func (s *Service) stage() {
	if len(s.stages) == 0 {
		return
	}
	for _, m := range s.stages[0] {
		if _, told := s.link.out.payload(m.Topic); told && len(m.Payload) == 0 && !publish.IsDocument(s.c.Publish, m.Topic) {
			continue
		}
		s.link.Put(m)
	}
	s.stages = s.stages[1:]
}

// advance goes on with the announcement when the broker has the stage before, and keeps the list of what is
// there up to date: alarms come and go.
func (s *Service) advance() {
	if len(s.stages) > 0 {
		if s.link.Settled() {
			s.stage()
		}
		return
	}
	if !s.link.Settled() {
		return
	}
	if err := s.save(s.after.With(s.outlet.Standing())); err != nil {
		s.c.Log.Error("what is gone from the shop file may stay on the broker", "why", err)
		s.saved = string(s.after.With(s.outlet.Standing()).Encode()) // said once, until the list changes
	}
}

func jitter(d time.Duration) time.Duration { return time.Duration(rand.Int64N(int64(d) + 1)) }
