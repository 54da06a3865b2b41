package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"ductwarden/config"
	"ductwarden/controller/panel/api"
)

// patient is the computer under examination. Tests give it another root than "/".
type patient struct {
	config string
	root   string
	file   *config.Shop // nil: it could not be read
	dial   func(ctx context.Context, network, address string) (net.Conn, error)
}

func newPatient(configPath string) *patient {
	d := &net.Dialer{Timeout: 3 * time.Second}
	return &patient{config: configPath, root: "/", dial: d.DialContext}
}

// read gives a small file of the system below the root; "" when it is not there.
func (p *patient) read(path string) string {
	b, err := os.ReadFile(filepath.Join(p.root, path))
	if err != nil {
		return ""
	}
	return strings.Trim(string(b), "\x00\n ")
}

// examine looks at everything, from the file outwards. What cannot be looked at without the file is left out.
func examine(ctx context.Context, p *patient) *findings {
	f := &findings{}
	p.lookAtBoard(f)
	p.lookAtFile(f)
	if p.file != nil {
		if !p.lookAtDaemon(ctx, f) {
			p.lookAtMetal(f)
		}
		p.lookAtFolders(f)
	}
	p.lookAtClock(f)
	p.lookAtWatchdog(f)
	if p.file != nil {
		p.lookAtBroker(ctx, f)
		p.lookAtPage(f)
	}
	return f
}

func (p *patient) lookAtFile(f *findings) {
	read, err := os.Open(p.config)
	switch {
	case errors.Is(err, os.ErrNotExist):
		f.bad("shop file", "write one (`ductwarden new`), or name yours with --config", "there is no shop file %s", p.config)
		return
	case err != nil:
		f.bad("shop file", "let this user read it: sudo usermod -aG ductwarden $USER, then log in again", "%v", err)
		return
	}
	read.Close()
	s, err := config.Load(p.config)
	var problems config.Problems
	switch {
	case errors.As(err, &problems):
		f.bad("shop file", "ductwarden check "+p.config, "%s is not in order (problems: %d); the first, line %d: %s", p.config, len(problems), problems[0].Line, problems[0].Problem)
	case err != nil:
		f.bad("shop file", "ductwarden check "+p.config, "%v", err)
	default:
		p.file = s
		f.good("shop file", "%s", s.Summary())
		for _, n := range s.Notes() {
			f.note("shop file", "ductwarden check "+p.config+" lists what may be added; leave it if it is meant so", "%s", n)
		}
	}
}

// lookAtDaemon asks the running daemon, whose buses these are then; false when none answers.
func (p *patient) lookAtDaemon(ctx context.Context, f *findings) bool {
	ctx, cancel := context.WithTimeout(ctx, 3*time.Second)
	defer cancel()
	s, err := api.Dial(p.file.Console.Socket).Snapshot(ctx)
	if err != nil {
		if _, there := os.Stat(p.file.Console.Socket); there == nil {
			f.bad("daemon", "join its group: sudo usermod -aG ductwarden $USER, then log in again; or look at: journalctl -u ductwarden", "%v", err)
		} else {
			f.note("daemon", "sudo systemctl start ductwarden, once nothing below is bad", "no daemon runs")
		}
		return false
	}
	f.good("daemon", "it runs, %s; the buses and lines are its own", plainWord(s.Mode))
	for _, a := range s.Alarms {
		if a.Active {
			f.bad("daemon", a.ToDo, "%s", a.Text)
		}
	}
	return true
}

// lookAtFolders sees whether there is room, and whether what is kept can be kept.
func (p *patient) lookAtFolders(f *findings) {
	var folders []string
	for _, path := range []string{p.file.Journal.Path, p.file.Starts, p.file.Page.Access} {
		if path != "" && !slices.Contains(folders, filepath.Dir(path)) {
			folders = append(folders, filepath.Dir(path))
		}
	}
	for _, folder := range folders {
		if _, err := os.Stat(folder); err != nil {
			f.bad("disk", fmt.Sprintf("sudo install -d -o ductwarden -g ductwarden -m 0750 %s", folder), "the folder %s cannot be seen (%v)", folder, errors.Unwrap(err))
			continue
		}
		if err := writable(folder); err != nil {
			f.note("disk", "run doctor as the service does: sudo -u ductwarden ductwarden doctor", "this user cannot write in %s", folder)
		}
		free, total := room(folder)
		switch {
		case total == 0:
		case free < leastRoom:
			f.bad("disk", "make room: journalctl --vacuum-size=50M, or move the journal to a larger disk (journal: {path: ...})", "%s has %d MB left of %d MB", folder, free>>20, total>>20)
		default:
			f.good("disk", "%s has %d MB left of %d MB", folder, free>>20, total>>20)
		}
	}
	if m := p.file.MQTT; m != nil && m.PasswordFile != "" {
		if st, err := os.Stat(m.PasswordFile); err == nil && st.Mode().Perm()&0o077 != 0 {
			f.bad("broker", "sudo chmod 600 "+m.PasswordFile, "the broker's password %s can be read by others", m.PasswordFile)
		}
	}
}

// leastRoom is what the journal of some years takes (own choice).
const leastRoom = 200 << 20

func writable(folder string) error {
	t, err := os.CreateTemp(folder, ".doctor-*")
	if err != nil {
		return err
	}
	return errors.Join(t.Close(), os.Remove(t.Name()))
}

// usualBrokerPorts are those that brokers listen at when the address names none.
var usualBrokerPorts = map[string]string{"tcp": "1883", "ssl": "8883", "ws": "80", "wss": "443"}

func (p *patient) lookAtBroker(ctx context.Context, f *findings) {
	if p.file.MQTT == nil {
		return
	}
	at := p.file.MQTT.Broker
	u, err := url.Parse(at)
	if err != nil {
		f.bad("broker", "write it like tcp://192.168.1.10:1883", "the broker's address cannot be read: %v", err)
		return
	}
	host, port := u.Hostname(), u.Port()
	if port == "" {
		port = usualBrokerPorts[u.Scheme]
	}
	conn, err := p.dial(ctx, "tcp", net.JoinHostPort(host, port))
	if err != nil {
		f.bad("broker", "see whether the broker runs and the address is right; the shop works without it meanwhile", "nothing answers at %s (%v)", at, err)
		return
	}
	conn.Close()
	f.good("broker", "something answers at %s", at)
}

// lookAtPage says where the page is found, and how the local network learns of it.
func (p *patient) lookAtPage(f *findings) {
	if p.file.Page.Listen == "" {
		f.good("page", "switched off in the shop file")
		return
	}
	if path := p.file.Page.Texts; path != "" {
		if _, missing, err := loadTexts(path); err != nil {
			f.bad("page", "mend the file, or leave page.texts out; until then the page is in English", "%v", err)
		} else if missing > 0 {
			f.note("page", "ductwarden texts prints every text; translate what is missing", "%d texts of the page are left in English", missing)
		}
	}
	f.URL = pageURL(p.file)
	if f.URL == "" {
		f.note("page", "set a password there first, then write page: {listen: \":8480\"} and restart", "http://%s/ is found from this computer only", p.file.Page.Listen)
		return
	}
	f.good("page", "%s", f.URL)
	if p.file.Page.Cert == "" {
		f.note("page", "use it in a network that you trust, or give page: {cert: ..., key: ...}", "passwords cross the network in the open: http, not https")
	}
	if p.read("etc/avahi/services/ductwarden.service") == "" && p.read("etc/avahi/avahi-daemon.conf") != "" {
		f.note("page", "sudo cp /usr/share/ductwarden/announce.xml /etc/avahi/services/ductwarden.service, with the port of page.listen", "it is not announced on the local network")
	}
}
