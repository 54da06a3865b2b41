package broker

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"strings"
	"syscall"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// Fault is the kind of reason why there is no connection.
type Fault string

// The kinds of faults. Those that only a person can mend are tried again slowly.
const (
	NoFault     Fault = ""
	Unreachable Fault = "unreachable" // nobody listens, no route, no name
	Refused     Fault = "refused"     // user or password
	Untrusted   Fault = "untrusted"   // certificates do not fit
	Secrets     Fault = "secrets"     // a file of ours cannot be read, or by too many
	Silent      Fault = "silent"      // the line stands and nothing comes
	Lost        Fault = "lost"        // the connection broke
	Rival       Fault = "rival"       // another client uses our id
)

// failure is one reason, with a sentence for the person.
type failure struct {
	fault Fault
	text  string
	err   error
}

func (f *failure) Error() string { return f.text }
func (f *failure) Unwrap() error { return f.err }

// explain turns what the library and the network say into a reason.
func explain(address string, err error) *failure {
	var f *failure
	if errors.As(err, &f) {
		return f
	}
	say := func(fault Fault, format string, a ...any) *failure {
		return &failure{fault, fmt.Sprintf(format, a...), err}
	}
	var (
		unknown  x509.UnknownAuthorityError
		invalid  x509.CertificateInvalidError
		name     x509.HostnameError
		verify   *tls.CertificateVerificationError
		remote   *net.OpError
		record   tls.RecordHeaderError
		dns      *net.DNSError
		timedOut net.Error
	)
	switch {
	case errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword), errors.Is(err, packets.ErrorRefusedNotAuthorised):
		return say(Refused, "broker %s refuses the user or the password; check user and password_file, and the broker's own list", address)
	case errors.Is(err, packets.ErrorRefusedIDRejected):
		return say(Refused, "broker %s refuses the client id; give another one with client_id", address)
	case errors.As(err, &name):
		return say(Untrusted, "broker %s shows a certificate for another name: %v; give its name with server_name", address, name)
	case errors.As(err, &unknown):
		return say(Untrusted, "broker %s shows a certificate of an authority that is not known here; give its file with ca", address)
	case errors.As(err, &invalid), errors.As(err, &verify):
		return say(Untrusted, "broker %s shows a certificate that is not valid: %v; check its dates and this board's clock", address, err)
	case errors.As(err, &remote) && remote.Op == "remote error":
		return say(Untrusted, "broker %s does not take our certificate: %v; check cert and key", address, remote.Err)
	case errors.As(err, &record):
		return say(Untrusted, "broker %s does not speak TLS on this port; write tcp:// or the other port", address)
	case errors.As(err, &dns):
		return say(Unreachable, "broker %s: the name is not known here (%v); check the name and the network", address, dns)
	case errors.Is(err, syscall.ECONNREFUSED):
		return say(Unreachable, "broker %s: nobody listens there; check that the broker runs, and the port", address)
	case errors.As(err, &timedOut) && timedOut.Timeout(), strings.Contains(err.Error(), "pingresp not received"), strings.Contains(err.Error(), "broken by timeout"):
		return say(Silent, "broker %s does not answer in time; check the network and the broker", address)
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, syscall.ECONNRESET), errors.Is(err, syscall.EPIPE):
		return say(Lost, "broker %s closed the connection", address)
	}
	return say(Lost, "connection to broker %s broke: %v", address, err)
}

// pauses decides how long to wait before the next try. It doubles, with a fifth of chance either way so that
// many boards do not come back in step after a power cut.
type pauses struct {
	pace   Pace
	next   time.Duration
	losses []time.Time // of sessions that were cut off right after they began
	chance *rand.Rand
}

const (
	rivals       = 3 // sessions cut off right after they began, within a minute: somebody else uses our id
	rivalWithin  = time.Minute
	rivalSession = 5 * time.Second
)

// after gives the pause after a session or a try that ended for the reason f; lasted is zero when there was no
// session. It may find that the reason is a rival.
func (p *pauses) after(f *failure, now time.Time, lasted time.Duration) (time.Duration, *failure) {
	if lasted >= p.pace.Steady {
		p.next = 0
	}
	if f.fault == Unreachable {
		p.losses = nil // the broker itself was away
	}
	if f.fault == Lost && lasted > 0 && lasted < rivalSession {
		p.losses = append(p.losses, now)
		for len(p.losses) > 0 && now.Sub(p.losses[0]) > rivalWithin {
			p.losses = p.losses[1:]
		}
		if len(p.losses) > rivals {
			p.losses = nil
			f = &failure{Rival, "the broker cuts us off right after every greeting: most likely another client uses the same client id (give each program its own), or the broker restarts over and over", f.err}
		}
	}
	switch f.fault {
	case Refused, Untrusted, Secrets:
		return p.jitter(p.pace.Refused), f
	case Rival:
		return p.jitter(p.pace.Refused / 2), f
	}
	if p.next = min(max(2*p.next, p.pace.First), p.pace.Most); p.next <= 0 {
		p.next = p.pace.First
	}
	return p.jitter(p.next), f
}

func (p *pauses) jitter(d time.Duration) time.Duration {
	return d + time.Duration((p.chance.Float64()*0.4-0.2)*float64(d))
}
