package broker

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"slices"
	"time"

	"ductwarden/controller/publish"
)

// Options is how the broker is reached.
type Options struct {
	Broker       string // tcp://host:1883, ssl://host:8883, ws://, wss://; never with a user or password in it
	ClientID     string // the same at every start
	User         string
	Password     Secret
	CA           string // file of the certificate authority; "" takes the machine's own
	Cert, Key    string // files of a client certificate; both or none
	ServerName   string // name in the broker's certificate where it differs from the host
	Availability string // topic of the will

	Log  *slog.Logger // nil: nothing is logged
	Pace Pace         // zero values are the usual ones
	// Dial opens the network connection; nil dials TCP. Tests put a bad line here.
	Dial func(ctx context.Context, address string) (net.Conn, error)
	// Greet gives the messages that begin a session, which is numbered from 1; they are put before all else.
	Greet func(session int) []publish.Message
	// Connected is called in each session once the subscriptions stand. It must not block.
	Connected func()
	// Echo asks for the self-check of each session; nil for none.
	Echo *Echo
}

// Pace is how often things are tried. Zero values are the usual ones, in brackets.
type Pace struct {
	First     time.Duration // pause after the first loss (100 ms), doubled after each further one
	Most      time.Duration // longest pause (4.5 s: with its chance and the greeting, everything is right within 6 s of the broker's return)
	Refused   time.Duration // after a refusal that only a person can mend: password, certificate, client id (60 s)
	KeepAlive time.Duration // a silent broker is asked this often (10 s) and given half of it to answer
	Connect   time.Duration // longest for dialling and greeting (5 s)
	Write     time.Duration // longest for one write (3 s)
	Ack       time.Duration // longest for the broker to acknowledge (5 s)
	Steady    time.Duration // a session that lasted so long starts the pauses anew (2 s)
	Heartbeat time.Duration // online is said again this often (60 s)
	Stale     time.Duration // an event older than this is not sent any more (60 s)
	Farewell  time.Duration // longest for saying offline at the end (500 ms)
}

func (p Pace) filled() Pace {
	return Pace{
		First: cmp.Or(p.First, 100*time.Millisecond), Most: cmp.Or(p.Most, 4500*time.Millisecond), Refused: cmp.Or(p.Refused, time.Minute),
		KeepAlive: cmp.Or(p.KeepAlive, 10*time.Second), Connect: cmp.Or(p.Connect, 5*time.Second), Write: cmp.Or(p.Write, 3*time.Second),
		Ack: cmp.Or(p.Ack, 5*time.Second), Steady: cmp.Or(p.Steady, 2*time.Second), Heartbeat: cmp.Or(p.Heartbeat, time.Minute),
		Stale: cmp.Or(p.Stale, time.Minute), Farewell: cmp.Or(p.Farewell, 500*time.Millisecond),
	}
}

// address is the broker's URL, checked.
func (o Options) address() (*url.URL, error) {
	u, err := url.Parse(o.Broker)
	if err != nil || u.Host == "" || !slices.Contains([]string{"tcp", "mqtt", "ssl", "tls", "mqtts", "ws", "wss"}, u.Scheme) {
		return nil, errors.New("broker address is none of tcp://host:1883, ssl://host:8883, ws://host, wss://host; mend it in the shop file")
	}
	if u.User != nil {
		return nil, errors.New("broker address has a user or password in it, which would end up in logs; write user and password_file instead")
	}
	if u.Port() == "" {
		port := map[string]string{"tcp": "1883", "mqtt": "1883", "ssl": "8883", "tls": "8883", "mqtts": "8883", "ws": "80", "wss": "443"}[u.Scheme]
		u.Host = net.JoinHostPort(u.Hostname(), port)
	}
	return u, nil
}

func encrypted(u *url.URL) bool {
	return slices.Contains([]string{"ssl", "tls", "mqtts", "wss"}, u.Scheme)
}

// Check refuses what cannot work, before anything is tried: the address, and secrets that everybody may read.
func (o Options) Check() error {
	u, err := o.address()
	if err != nil {
		return err
	}
	var all []error
	if o.ClientID == "" || o.Availability == "" {
		all = append(all, errors.New("the connection needs a client id and an availability topic"))
	}
	if (o.Cert == "") != (o.Key == "") {
		all = append(all, errors.New("a client certificate and its key go together; give both or none"))
	}
	if _, err := o.Password.Read(); err != nil {
		all = append(all, err)
	}
	if encrypted(u) {
		if _, err := o.tls(u); err != nil {
			all = append(all, err)
		}
	} else if o.CA != "" || o.Cert != "" {
		all = append(all, fmt.Errorf("certificates are given, but the address %s speaks plainly; write ssl://", o.Broker))
	}
	return errors.Join(all...)
}

func (o Options) log() *slog.Logger {
	if o.Log == nil {
		return slog.New(slog.DiscardHandler)
	}
	return o.Log
}
