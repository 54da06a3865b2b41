package metrics_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"ductwarden/controller/broker"
	"ductwarden/controller/publish"
	"ductwarden/controller/publish/metrics"
)

// deployed reads a file that is shipped beside the program.
func deployed(t *testing.T, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "..", "deploy", name))
	require.NoError(t, err)
	return b
}

var (
	metricName = regexp.MustCompile(`ductwarden_[a-z0-9_]+`)
	labelName  = regexp.MustCompile(`([a-z_]+)(?:=~|!~|!=|=)"`)
	grouping   = regexp.MustCompile(`(?:by|on) \(([a-z_, ]*)\)`)
)

// checkExpression finds what an expression names that no scrape has.
func checkExpression(t *testing.T, where, expr string) {
	t.Helper()
	labels := []string{"instance", "le"}
	names := metricName.FindAllString(expr, -1)
	require.NotEmpty(t, names, where)
	for _, name := range names {
		f, ok := family(name)
		require.True(t, ok, "%s: %s is not a figure of this program", where, name)
		labels = append(labels, f.Labels...)
		if f.Kind == publish.Counter {
			assert.Regexp(t, `(rate|increase)\(`+name, expr, "%s: a counter is looked at by its growth", where)
		}
	}
	for _, m := range labelName.FindAllStringSubmatch(expr, -1) {
		assert.Contains(t, labels, m[1], "%s: label %s", where, m[1])
	}
	for _, m := range grouping.FindAllStringSubmatch(expr, -1) {
		for _, l := range strings.Split(m[1], ",") {
			assert.Contains(t, labels, strings.TrimSpace(l), "%s: label %s", where, l)
		}
	}
	for _, pair := range []string{"()", "{}", "[]"} {
		assert.Equal(t, strings.Count(expr, pair[:1]), strings.Count(expr, pair[1:]), "%s: %s", where, pair)
	}
}

func family(name string) (publish.Family, bool) {
	for _, all := range [][]publish.Family{publish.ShopFamilies(), broker.Families(), broker.RequestFamilies(), metrics.Families()} {
		for _, f := range all {
			if f.Name == name || f.Kind == publish.Histogram && slices.Contains([]string{f.Name + "_bucket", f.Name + "_sum", f.Name + "_count"}, name) {
				return f, true
			}
		}
	}
	return publish.Family{}, false
}

func TestAlertRules(t *testing.T) {
	var file struct {
		Groups []struct {
			Name  string `yaml:"name"`
			Rules []struct {
				Alert       string            `yaml:"alert"`
				Expr        string            `yaml:"expr"`
				For         string            `yaml:"for"`
				Labels      map[string]string `yaml:"labels"`
				Annotations map[string]string `yaml:"annotations"`
			} `yaml:"rules"`
		} `yaml:"groups"`
	}
	require.NoError(t, yaml.Unmarshal(deployed(t, "alerts.yaml"), &file))
	require.Len(t, file.Groups, 1)
	names := map[string]bool{}
	for _, r := range file.Groups[0].Rules {
		assert.False(t, names[r.Alert], "%s twice", r.Alert)
		names[r.Alert] = true
		checkExpression(t, r.Alert, r.Expr)
		assert.Contains(t, []string{"urgent", "high", "low"}, r.Labels["severity"], r.Alert)
		assert.NotEmpty(t, r.Annotations["summary"], r.Alert)
		assert.NotEmpty(t, r.Annotations["to_do"], "%s: says what to do", r.Alert)
		assert.NotEmpty(t, r.For, r.Alert)
	}
	for _, must := range []string{"SensorNotGood", "GateFailed", "DuctsCreep", "HomeAutomationOffline"} {
		assert.True(t, names[must], must)
	}
}

func TestDashboard(t *testing.T) {
	var d struct {
		Title  string
		Panels []struct {
			ID      int
			Title   string
			GridPos struct{ X, Y, W, H int }
			Targets []struct{ Expr string }
		}
	}
	require.NoError(t, json.Unmarshal(deployed(t, "dashboard.json"), &d))
	require.NotEmpty(t, d.Panels)
	ids := map[int]bool{}
	for _, p := range d.Panels {
		assert.False(t, ids[p.ID])
		ids[p.ID] = true
		assert.LessOrEqual(t, p.GridPos.X+p.GridPos.W, 24, p.Title)
		require.NotEmpty(t, p.Targets, p.Title)
		for _, target := range p.Targets {
			checkExpression(t, p.Title, target.Expr)
		}
	}
	for i, a := range d.Panels {
		for _, b := range d.Panels[i+1:] {
			g, h := a.GridPos, b.GridPos
			assert.False(t, g.X < h.X+h.W && h.X < g.X+g.W && g.Y < h.Y+h.H && h.Y < g.Y+g.H, "%s lies on %s", a.Title, b.Title)
		}
	}
}

func TestTheCheckFindsWhatIsWrong(t *testing.T) {
	for _, name := range []string{"ductwarden_nothing", "ductwarden_mode_bucket"} {
		_, ok := family(name)
		assert.False(t, ok, name)
	}
	_, ok := family("ductwarden_control_scan_seconds_bucket")
	assert.True(t, ok)
}
