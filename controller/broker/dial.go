package broker

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"os"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// tls reads the certificates, at every connection, so that they can be renewed without a restart.
func (o Options) tls(u *url.URL) (*tls.Config, error) {
	c := &tls.Config{MinVersion: tls.VersionTLS12, ServerName: o.ServerName}
	if c.ServerName == "" {
		c.ServerName = u.Hostname()
	}
	if o.CA != "" {
		pem, err := os.ReadFile(o.CA)
		if err != nil {
			return nil, fmt.Errorf("certificate authority %s: %w; check the path and its rights", o.CA, err)
		}
		c.RootCAs = x509.NewCertPool()
		if !c.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("certificate authority %s has no certificate in it; it must be a PEM file", o.CA)
		}
	}
	if o.Cert != "" {
		if err := private(o.Key); err != nil {
			return nil, err
		}
		pair, err := tls.LoadX509KeyPair(o.Cert, o.Key)
		if err != nil {
			return nil, fmt.Errorf("client certificate %s with key %s: %w; check that they belong together", o.Cert, o.Key, err)
		}
		c.Certificates = []tls.Certificate{pair}
	}
	return c, nil
}

// open makes the network connection of one session. It ends with ctx, takes no proxy from the environment for
// plain and TLS connections, and gives up after the pace's time for connecting.
func (o Options) open(ctx context.Context, u *url.URL) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, o.Pace.Connect)
	defer cancel()
	var secure *tls.Config
	if encrypted(u) {
		var err error
		if secure, err = o.tls(u); err != nil {
			return nil, &failure{Secrets, err.Error(), err}
		}
	}
	if u.Scheme == "ws" || u.Scheme == "wss" {
		return mqtt.NewWebsocket(u.String(), secure, o.Pace.Connect, http.Header{}, &mqtt.WebsocketOptions{})
	}
	dial := o.Dial
	if dial == nil {
		dial = func(ctx context.Context, address string) (net.Conn, error) {
			return (&net.Dialer{}).DialContext(ctx, "tcp", address)
		}
	}
	conn, err := dial(ctx, u.Host)
	if err != nil || secure == nil {
		return conn, err
	}
	t := tls.Client(conn, secure)
	if err := t.HandshakeContext(ctx); err != nil {
		conn.Close()
		return nil, err
	}
	return t, nil
}

// client is a fresh client of the library, for one session. It neither reconnects nor retries nor keeps
// anything: that is done here.
func (o Options) client(open mqtt.OpenConnectionFunc, password string, received mqtt.MessageHandler, lost func(error)) mqtt.Client {
	c := mqtt.NewClientOptions().
		AddBroker("tcp://broker"). // where to is the business of open; an address here could be logged
		SetProtocolVersion(4).
		SetClientID(o.ClientID).
		SetCleanSession(true).
		SetAutoReconnect(false).SetConnectRetry(false).
		SetOrderMatters(true).
		SetKeepAlive(o.Pace.KeepAlive).SetPingTimeout(o.Pace.KeepAlive/2).
		SetConnectTimeout(o.Pace.Connect).SetWriteTimeout(o.Pace.Write).
		SetDefaultPublishHandler(received).
		SetBinaryWill(o.Availability, []byte("offline"), 1, true).
		SetConnectionLostHandler(func(_ mqtt.Client, err error) { lost(err) }).
		SetCustomOpenConnectionFn(open)
	if o.User != "" {
		c.SetUsername(o.User)
		c.SetPassword(password)
	}
	return mqtt.NewClient(c)
}

// deadlines sets a limit to every write, because the library sets one for publications only: a ping that
// blocks behind a full socket would hide that the broker is gone.
type deadlines struct {
	net.Conn
	write time.Duration
}

func (d deadlines) Write(p []byte) (int, error) {
	if err := d.SetWriteDeadline(time.Now().Add(d.write)); err != nil {
		return 0, err
	}
	return d.Conn.Write(p)
}
