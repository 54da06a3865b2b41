package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
)

// answers are lines of answers.
func answers(lines ...string) string { return strings.Join(lines, "\n") + "\n" }

// answered runs new with answers.
func answered(t *testing.T, typed string, args ...string) (code int, out, errs string) {
	var o, e bytes.Buffer
	code = run(t.Context(), append([]string{"new"}, args...), strings.NewReader(typed), &o, &e)
	return code, o.String(), e.String()
}

var (
	inInches = answers("Garage", "inches", "table saw, planer, floor sweep", "", "", "yes", "2", "yes", "6", "",
		"6", "", "", "", "", "14", "5", "", "", "2", "20", "", "", "0", "", "1400", "11", "")
	gatesOnly = answers("", "", "lathe", "hand", "button", "no", "", "no")
)

// Whatever is answered, the file passes check, and survey and rehearse run it.
func TestNewWritesAFileThatWorks(t *testing.T) {
	for name, c := range map[string]struct {
		typed string
		look  func(t *testing.T, s *config.Shop, text string)
	}{
		"inches, servos, clamps, air": {inInches, func(t *testing.T, s *config.Shop, text string) {
			assert.Equal(t, "Garage", s.Name)
			assert.Equal(t, config.US, s.Units)
			require.Len(t, s.Ducts, 8)
			assert.InDelta(t, 14*0.3048-6*0.3048, s.Ducts[1].Length, 0.01, "from the first branch to the second")
			assert.InDelta(t, 5*0.0254, s.Ports[1].Airflow/(20*3.14159/4*s.Ducts[s.Ports[1].Duct].Diameter), 0.001, "as much as its pipe carries at 20 m/s")
			assert.True(t, s.Collectors[0].Fan.Guess)
			assert.InDelta(t, 2*745.7, s.Collectors[0].Motor.Power, 1)
			assert.NotNil(t, s.Machines[2].Sensors[0].Button, "a sweep has no motor")
			assert.Contains(t, text, "a guess")
		}},
		"one machine, by hand, no air": {gatesOnly, func(t *testing.T, s *config.Shop, text string) {
			assert.Equal(t, config.Metric, s.Units)
			assert.NotNil(t, s.Gates[0].Actuator.Hand)
			assert.Nil(t, s.Collectors[0].Starter)
			assert.Empty(t, s.Buses)
			assert.NotContains(t, text, "jog GATE")
		}},
		"motors and contacts": {answers("x: y", "mm", "saw, 2nd saw", "motor", "contact", "yes", "1,5", "no"), func(t *testing.T, s *config.Shop, _ string) {
			assert.Equal(t, "x: y", s.Name)
			assert.NotNil(t, s.Gates[1].Actuator.Relay)
			assert.NotNil(t, s.Machines[1].Sensors[0].Contact)
			assert.Equal(t, 1500.0, s.Collectors[0].Motor.Power, "a comma is a point")
		}},
		"sixteen clamps, branches at one place": {answers(append([]string{"", "", "a,b,c,d,e,f,g,h,i,j,k,l,m,n,o,p", "", "", "no", "", "yes", "", ""},
			append(strings.Split(strings.Repeat("2 m,,,,,", 16), ",")[:80], "", "", "")...)...), func(t *testing.T, s *config.Shop, _ string) {
			assert.Len(t, s.Ducts, 1+32)
			assert.Nil(t, s.Collectors[0].Fan, "without its figures the air is not judged")
			assert.Equal(t, uint8(0x4b), s.Machines[15].Sensors[0].Clamp.Converter.Chip.Address)
		}},
		"nothing to sense with": {answers("", "", "sweep", "", "none", "", "", "no"), func(t *testing.T, s *config.Shop, _ string) {
			assert.Empty(t, s.Machines[0].Sensors)
		}},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "shop.yaml")
			code, out, errs := answered(t, c.typed, path)
			require.Equal(t, exitDone, code, errs)
			assert.Contains(t, out, "electrician", "the cautions stand where they are met")
			text, err := os.ReadFile(path)
			require.NoError(t, err)
			file, err := config.Load(path)
			require.NoError(t, err)
			c.look(t, file, string(text))
			for _, m := range file.Machines {
				assert.Contains(t, out, m.Name, "the drawing shows it")
			}
			var o, e bytes.Buffer
			require.Equal(t, exitDone, run(t.Context(), []string{"check", path}, nil, &o, &e), e.String())
			if len(file.Machines) < 16 { // the story of sixteen takes its time
				require.Equal(t, exitDone, run(t.Context(), []string{"rehearse", path, "--speed", "0"}, nil, &o, &e), e.String())
			}
			if file.Collectors[0].Fan != nil {
				run(t.Context(), []string{"survey", path}, nil, &o, &e)
				assert.Contains(t, o.String(), "floor sweep")
				assert.Empty(t, e.String())
			}
		})
	}
}

func TestNewNeverOverwritesWithoutAsking(t *testing.T) {
	path := filepath.Join(t.TempDir(), "shop.yaml")
	require.NoError(t, os.WriteFile(path, []byte("mine"), 0o640))
	keeps := func() {
		t.Helper()
		b, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, "mine", string(b))
	}
	code, out, _ := answered(t, gatesOnly+"n\n", path)
	assert.Equal(t, exitNo, code)
	assert.Contains(t, out, "is there already. Overwrite it?")
	keeps()
	code, _, errs := answered(t, gatesOnly, path) // nobody answers
	assert.Equal(t, exitNo, code)
	assert.Contains(t, errs, "nothing was written")
	keeps()
	code, out, _ = answered(t, gatesOnly, "--print")
	assert.Equal(t, exitDone, code)
	assert.True(t, strings.HasPrefix(out, "# my shop: a first shop file"), "only the file goes to stdout")
	code, _, _ = answered(t, gatesOnly+"y\n", path)
	assert.Equal(t, exitDone, code)
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o640), info.Mode().Perm(), "its mode stays")
}

func TestNewSaysWhatIsWrongWithAnAnswer(t *testing.T) {
	for want, typed := range map[string]string{
		"the answers end before the question \"How are the gates moved":           answers("", "", "saw"),
		"Do you measure in mm or in inches? (mm, inches)\" was answered \"ells\"": answers("", "ells"),
		"name one machine at least":        answers("", "", ""),
		"\"saw\" is named twice":           answers("", "", "saw, saw"),
		"these are 17 machines":            answers("", "", "a,b,c,d,e,f,g,h,i,j,k,l,m,n,o,p,q"),
		"answer with servo, hand or motor": answers("", "", "saw", "steam"),
		"8 motors need 16 lines":           answers("", "", "a,b,c,d,e,f,g,h", "motor"),
		"take clamps":                      answers("", "", "a,b,c,d,e,f,g", "motor", "contact"),
		"is not between 50 W and 15 kW":    answers("", "", "saw", "", "", "", "1500"),
		"is not between 40 mm and 500 mm":  answers("", "", "saw", "", "", "", "", "", "6"),
		"a number from 0 to 9":             answers("", "", "saw", "", "", "", "", "", "", "", "", "", "", "", "two"),
		"a name has 1 to 40 letters":       answers(strings.Repeat("x", 41)),
	} {
		code, _, errs := answered(t, typed, filepath.Join(t.TempDir(), "shop.yaml"))
		assert.Equal(t, exitNo, code, want)
		assert.Contains(t, errs, want)
		assert.Contains(t, errs, "nothing was written")
	}
}

func TestNewExplainsAQuestion(t *testing.T) {
	_, out, _ := answered(t, answers("?", "", "", "saw", "?"), filepath.Join(t.TempDir(), "shop.yaml"))
	assert.Contains(t, out, "A name of your own")
	assert.Contains(t, out, "PCA9685 board")
}
