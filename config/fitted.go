package config

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"

	"go.yaml.in/yaml/v3"

	"ductwarden/controller/airflow"
	"ductwarden/controller/airflow/fit"
)

// FittedName is the file of fitted numbers; it lies beside the shop file.
const FittedName = "fitted.yaml"

// FittedFile is what stands in it.
type FittedFile struct {
	Shop     string         `yaml:"shop"`     // name of the shop that was measured
	Measured string         `yaml:"measured"` // day of the readings
	Factors  []FittedFactor `yaml:"factors"`
}

// FittedFactor is one number of the model as a factor on its default.
type FittedFactor struct {
	Collector  string  `yaml:"collector"`
	Of         string  `yaml:"of"`             // fan_pressure, fan_flow, filter, hose, hood, leaks
	Name       string  `yaml:"name,omitempty"` // of a duct (hose) or a port (hood)
	Factor     float64 `yaml:"factor"`
	Within     float64 `yaml:"within"`     // nineteen of twenty: right within this factor
	Determined bool    `yaml:"determined"` // by the readings; else it stayed near its default
}

// Bounds of a fitted factor: beyond them something else is wrong.
const (
	leastFactor = 0.05
	mostFactor  = 20
)

// loadFitted reads the fitted numbers that lie beside a shop file; none is no problem.
func loadFitted(shopPath string, s *Shop) *Problem {
	path := filepath.Join(filepath.Dir(shopPath), FittedName)
	bad := func(format string, a ...any) *Problem {
		return &Problem{File: path, Problem: fmt.Sprintf(format, a...), Accepted: "a file as `fit --write` makes it; delete it to go back to the defaults"}
	}
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return bad("%s", unreadable(err))
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil || info.Size() > MaxSize {
		return bad("the file of fitted numbers is far too large")
	}
	var file FittedFile
	d := yaml.NewDecoder(f)
	d.KnownFields(true)
	if err := d.Decode(&file); err != nil {
		return bad("the fitted numbers cannot be read: %s", strings.TrimPrefix(err.Error(), "yaml: "))
	}
	if file.Shop != s.Name {
		return bad("the fitted numbers are of another shop, %q, and this is %q", file.Shop, s.Name)
	}
	for i, x := range file.Factors {
		where := fmt.Sprintf("factors[%d]", i)
		c := -1
		for k := range s.Collectors {
			if s.Collectors[k].Name == x.Collector {
				c = k
			}
		}
		switch kind := fit.Kind(x.Of); {
		case c < 0:
			return bad("%s: there is no collector %q in the shop file", where, x.Collector)
		case math.IsNaN(x.Factor) || x.Factor < leastFactor || x.Factor > mostFactor:
			return bad("%s: the factor %v is not between %v and %v", where, x.Factor, leastFactor, mostFactor)
		case kind == fit.Hose && !hasDuct(s, x.Name):
			return bad("%s: there is no duct %q in the shop file; fit again after a change of the ducts", where, x.Name)
		case kind == fit.Hood && !hasPort(s, x.Name):
			return bad("%s: there is no port %q in the shop file; fit again after a change of the ports", where, x.Name)
		case kind != fit.FanPressure && kind != fit.FanFlow && kind != fit.FilterLoss && kind != fit.Hose && kind != fit.Hood && kind != fit.Leaks:
			return bad("%s: %q is not a number that can be fitted", where, x.Of)
		}
	}
	s.Fitted = &file
	return nil
}

func hasDuct(s *Shop, name string) bool {
	for i := range s.Ducts {
		if s.Ducts[i].Name == name {
			return true
		}
	}
	return false
}

func hasPort(s *Shop, name string) bool {
	for i := range s.Ports {
		if s.Ports[i].Name == name {
			return true
		}
	}
	return false
}

// fitted works the fitted numbers into a collector's network.
func (s *Shop) fitted(n *airflow.Network) {
	if s.Fitted == nil {
		return
	}
	var factors []fit.Factor
	for _, x := range s.Fitted.Factors {
		if x.Collector == n.Name {
			factors = append(factors, fit.Factor{Kind: fit.Kind(x.Of), Name: x.Name, Value: x.Factor})
		}
	}
	if factors == nil {
		return
	}
	m, err := airflow.Compile(*n)
	if err != nil {
		return // the plain network is refused in its own words
	}
	full := fit.Apply(*m.Network(), factors)
	*n = full
}
