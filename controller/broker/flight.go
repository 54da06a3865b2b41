package broker

import (
	"context"
	"errors"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"ductwarden/controller/publish"
)

// window is how many messages may be on their way at once.
const window = 32

type flight struct {
	parcel
	kind  string
	token mqtt.Token
	sent  time.Time
}

// fill sends until the window is full or nothing is due.
func (s *session) fill() error {
	for len(s.flying) < window {
		if len(s.flying) > 0 && s.flying[len(s.flying)-1].solo {
			return nil
		}
		select {
		case m := <-s.l.direct:
			if err := s.send(parcel{m: m, at: time.Now()}, "direct"); err != nil {
				return err
			}
			continue
		default:
		}
		p, ok := s.l.out.take(time.Now(), len(s.flying), s.l.o.Pace.Stale)
		if !ok {
			return nil
		}
		kind := "state"
		if p.event {
			kind = "event"
		}
		if err := s.send(p, kind); err != nil {
			return err
		}
	}
	return nil
}

func (s *session) send(p parcel, kind string) error {
	now := time.Now()
	t := s.client.Publish(p.m.Topic, p.m.QoS, p.m.Retained, p.m.Payload)
	s.flying = append(s.flying, flight{p, kind, t, now})
	n := len(s.flying)
	s.l.update(func(st *Status) { st.Flying = n })
	select {
	case <-t.Done():
		return t.Error()
	default:
		return nil
	}
}

// landed takes the oldest message off the list.
func (s *session) landed() error {
	f := s.flying[0]
	if err := f.token.Error(); err != nil {
		return err
	}
	s.flying = append(s.flying[:0], s.flying[1:]...)
	n := len(s.flying)
	s.l.update(func(st *Status) { st.Flying = n })
	if f.kind == "availability" {
		return nil
	}
	s.l.published(f.kind, "arrived", 1)
	if s.l.ack != nil {
		s.l.ack(time.Since(f.sent).Seconds())
	}
	if f.kind != "state" {
		return nil
	}
	s.l.out.arrived(f.parcel)
	if s.first > 0 {
		if s.first--; s.first == 0 {
			return s.online()
		}
	}
	return nil
}

// online is said last, when everything else is there, and again from time to time.
func (s *session) online() error {
	begins := s.first == 0
	s.first, s.beat = -1, time.Now()
	s.l.update(func(st *Status) { st.Online = true })
	m := publish.Message{Topic: s.l.o.Availability, Payload: []byte(publish.Online), Retained: true, QoS: 1}
	if err := s.send(parcel{m: m, at: time.Now()}, "availability"); err != nil {
		return err
	}
	if begins && s.l.o.Echo != nil {
		s.echo.Store(newEcho(s, *s.l.o.Echo))
	}
	return nil
}

// settle takes back what was on its way when the connection broke.
func (s *session) settle(err error) {
	var back []parcel
	lost := map[string]int{}
	for _, f := range s.flying {
		select {
		case <-f.token.Done():
			if f.token.Error() == nil {
				if f.kind == "state" {
					s.l.out.arrived(f.parcel)
				}
				continue
			}
		default:
		}
		lost[f.kind]++
		if f.kind == "state" || f.kind == "event" {
			back = append(back, f.parcel)
		}
	}
	for _, kind := range []string{"state", "event", "direct"} {
		s.l.published(kind, "lost", lost[kind])
	}
	aside := s.l.out.lost(time.Now(), back)
	if len(aside) == 0 || errors.Is(err, context.Canceled) {
		return
	}
	s.l.update(func(st *Status) { st.Aside = aside })
	s.l.o.log().Error("the broker breaks the connection over these topics; they are left out for a while: raise its limit on packet sizes", "topics", aside)
}

// farewell sends what was meant to be sent at once (a socket's off, a gate's rest), says offline, waits for the
// broker to have it, and takes leave so that the will stays unread. A broker that does not answer is cut off;
// its own will says the same when it notices.
func (s *session) farewell() {
	s.mu.Lock()
	closed := s.closed
	s.mu.Unlock()
	if closed {
		return
	}
	done := make(chan bool, 1)
	go func() {
		tokens := []mqtt.Token{}
		for left := true; left; {
			select {
			case m := <-s.l.direct:
				tokens = append(tokens, s.client.Publish(m.Topic, m.QoS, m.Retained, m.Payload))
			default:
				left = false
			}
		}
		tokens = append(tokens, s.client.Publish(s.l.o.Availability, 1, true, []byte(publish.Offline)))
		arrived := true
		for _, t := range tokens { // in order, so that the last waits for all before it
			arrived = t.WaitTimeout(s.l.o.Pace.Farewell) && t.Error() == nil && arrived
		}
		done <- arrived
	}()
	timer := time.NewTimer(s.l.o.Pace.Farewell)
	defer timer.Stop()
	select {
	case ok := <-done:
		if ok {
			s.client.Disconnect(100)
		}
	case <-timer.C:
	}
}
