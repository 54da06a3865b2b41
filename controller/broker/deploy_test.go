package broker_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/broker"
	"ductwarden/controller/broker/brokertest"
)

// block is a piece of configuration from the page on home automation: what is printed there is what is tried.
func block(t *testing.T, name string) []string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "deploy", "home-automation.md"))
	require.NoError(t, err)
	_, rest, ok := strings.Cut(string(b), "<!-- "+name+" -->\n```\n")
	require.True(t, ok, "the page has no block %q", name)
	text, _, ok := strings.Cut(rest, "\n```")
	require.True(t, ok)
	return strings.Split(text, "\n")
}

// The access rules that the page shows let everything through that must pass, and nothing else.
func TestAccessRulesOfThePage(t *testing.T) {
	t.Parallel()
	if _, err := exec.LookPath("mosquitto_passwd"); err != nil {
		t.Skip("mosquitto_passwd is not installed; run: apt-get install mosquitto")
	}
	dir := t.TempDir()
	rules, users := filepath.Join(dir, "access"), filepath.Join(dir, "users")
	require.NoError(t, os.WriteFile(rules, []byte(strings.Join(block(t, "access rules"), "\n")+"\n"), 0o600))
	require.NoError(t, os.WriteFile(users, nil, 0o600))
	for _, name := range []string{"ductwarden-mossfen", "hub", "annex", "attic"} {
		out, err := exec.Command("mosquitto_passwd", "-b", users, name, "pw-"+name).CombinedOutput()
		require.NoError(t, err, "%s", out)
	}
	m := brokertest.Start(t, "allow_anonymous false", "password_file "+users, "acl_file "+rules)
	secret := filepath.Join(dir, "password")
	require.NoError(t, os.WriteFile(secret, []byte("pw-ductwarden-mossfen\n"), 0o600))
	r := run(t, m.URL(), func(c *broker.Config) {
		c.Link.User, c.Link.Password = "ductwarden-mossfen", broker.Secret{File: secret}
	})
	heard := make(chan string, 100)
	r.Offer(state(r.now(), true))
	r.online(t)
	require.Eventually(t, func() bool { return r.Status().Echoed }, 30*time.Second, 5*time.Millisecond)
	assert.Empty(t, r.Status().Missing, "the self-check passes")

	as := func(name string, filters ...string) *listener {
		return listenAs(t, mqtt.NewClientOptions().AddBroker(m.URL()).SetClientID(name).SetUsername(name).SetPassword("pw-"+name),
			func(m mqtt.Message) { heard <- name + " " + m.Topic() }, filters...)
	}
	hub := as("hub", "homeassistant/#", "ductwarden/#")
	require.Eventually(t, func() bool {
		return hub.value("homeassistant/device/ductwarden-mossfen/config") != "" && hub.value(site+"state/machine/planer") != "" && hub.value(site+"availability") == "online"
	}, 30*time.Second, 5*time.Millisecond)
	hub.say(site+"request/finish", "press", false)
	require.Eventually(t, func() bool { return len(r.desk.asked()) == 1 && hub.value(site+"answer") != "" }, 30*time.Second, 5*time.Millisecond)
	hub.say(site+"state/machine/planer", "spoofed", true)
	hub.say(site+"node/annex/report", "spoofed", false)
	node := as("annex", site+"node/#")
	node.say(site+"node/annex/report", "mine", false)
	node.say(site+"node/attic/report", "not mine", false)
	node.say(site+"request/halt", "press", false)
	node.say(site+"node/annex/target", "to myself", false)
	self := listenAs(t, mqtt.NewClientOptions().AddBroker(m.URL()).SetClientID("other").SetUsername("ductwarden-mossfen").SetPassword("pw-ductwarden-mossfen"), nil, site+"node/#", site+"request/#")
	self.say(site+"request/halt", "press", false)
	node.say(site+"node/annex/report", "last", false)
	require.Eventually(t, func() bool { return self.value(site+"node/annex/report") == "last" }, 30*time.Second, 5*time.Millisecond)
	assert.Empty(t, self.value(site+"node/attic/report"), "a node speaks for itself only")
	assert.Empty(t, self.value(site+"request/halt"))
	assert.Len(t, r.desk.asked(), 1, "neither a node nor the program itself can ask")
	assert.NotEqual(t, "spoofed", hub.value(site+"state/machine/planer"))
	assert.Empty(t, node.value(site+"node/attic/target"))
}

// The broker's settings that the page shows are taken by the broker.
func TestBrokerSettingsOfThePage(t *testing.T) {
	t.Parallel()
	ca := newAuthority(t, "ca")
	cert, key := ca.issue("127.0.0.1", time.Now().Add(time.Hour))
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "access"), []byte(strings.Join(block(t, "access rules"), "\n")+"\n"), 0o600))
	users := passwords(t, filepath.Join(dir, "users"), "ductwarden-mossfen", "pw")
	var lines []string
	for _, l := range block(t, "broker") {
		l = strings.NewReplacer("listener 8883", "listener %PORT% 127.0.0.1", "/etc/mosquitto/ca.crt", ca.file, "/etc/mosquitto/broker.crt", cert,
			"/etc/mosquitto/broker.key", key, "/etc/mosquitto/users", users, "/etc/mosquitto/access", filepath.Join(dir, "access"),
			"persistence true", "persistence_location %DIR%/").Replace(l)
		if l != "set_tcp_nodelay true" { // the test's broker has it already, and may have it once only
			lines = append(lines, l)
		}
	}
	m := brokertest.Start(t, lines...)
	secret := filepath.Join(dir, "password")
	require.NoError(t, os.WriteFile(secret, []byte("pw"), 0o600))
	r := run(t, strings.Replace(m.URL(), "tcp", "ssl", 1), func(c *broker.Config) {
		c.Link.User, c.Link.Password, c.Link.CA = "ductwarden-mossfen", broker.Secret{File: secret}, ca.file
	})
	r.Offer(state(r.now(), false))
	r.online(t)
	require.Eventually(t, func() bool { return r.Status().Echoed }, 30*time.Second, 5*time.Millisecond)
	assert.Empty(t, r.Status().Missing)
}

// bridge is the bridge that the page shows, for the test's ports and site.
func bridge(t *testing.T, port int) []string {
	lines := block(t, "bridge")
	for i, l := range lines {
		l = strings.NewReplacer("building.example:1883", fmt.Sprintf("127.0.0.1:%d", port), "mossfen", "room", "restart_timeout 5 30", "restart_timeout 1 2").Replace(l)
		lines[i] = l
	}
	return lines
}
