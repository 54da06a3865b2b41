package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"ductwarden/config"
	"ductwarden/controller/transcript"
	"ductwarden/gates"
)

// mostScript is the largest script that is read, in bytes.
const mostScript = 1 << 20

// script plays a person's script: what must happen stands below each command. Without any such line the script is
// printed with what does happen; update writes that into the file.
func (r rehearsal) script(stdout io.Writer) error {
	info, err := os.Stat(r.scriptFile)
	if err == nil && (info.IsDir() || info.Size() > mostScript) {
		return fmt.Errorf("%s is no script: give a text file of at most %d KiB", r.scriptFile, mostScript>>10)
	}
	text, err := os.ReadFile(r.scriptFile)
	if err != nil {
		return fmt.Errorf("the script cannot be read: %w", err)
	}
	load := castLoader(filepath.Dir(r.scriptFile))
	if r.update || !expects(string(text)) {
		done, err := transcript.Run(string(text), load)
		if err != nil {
			return fmt.Errorf("%s: %w", r.scriptFile, err)
		}
		if !r.update {
			_, err = io.WriteString(stdout, done)
			return err
		}
		return os.WriteFile(r.scriptFile, []byte(done), info.Mode().Perm())
	}
	differ, err := transcript.Check(string(text), load)
	if err != nil {
		return fmt.Errorf("%s: %w", r.scriptFile, err)
	}
	if len(differ) == 0 {
		fmt.Fprintf(stdout, "%s: the shop does what the script says\n", r.scriptFile)
		return nil
	}
	for _, d := range differ {
		fmt.Fprintf(stdout, "%s:%d: expected\n%shappened\n%s", r.scriptFile, d.Line, listed(d.Want), listed(d.Got))
	}
	return fmt.Errorf("%s: the shop does otherwise in %d of the script's lines", r.scriptFile, len(differ))
}

// expects reports whether a script says anywhere what must happen.
func expects(text string) bool {
	for l := range strings.Lines(text) {
		l = strings.TrimSpace(l)
		if l == "..." || strings.HasPrefix(l, "-> ") || strings.HasPrefix(l, "!! ") || strings.HasPrefix(l, "== ") {
			return true
		}
	}
	return false
}

func listed(lines []string) string {
	if len(lines) == 0 {
		return "    nothing\n"
	}
	return "    " + strings.Join(lines, "\n    ") + "\n"
}

// castLoader loads the shop files that a script names, beside the script.
func castLoader(dir string) transcript.Load {
	return func(name string) (*transcript.Cast, error) {
		if !filepath.IsAbs(name) {
			name = filepath.Join(dir, name)
		}
		file, err := config.Load(name)
		if err != nil {
			return nil, err
		}
		return cast(file)
	}
}

// cast is a shop as a script speaks of it.
func cast(file *config.Shop) (*transcript.Cast, error) {
	trees, models, err := compile(file)
	if err != nil {
		return nil, err
	}
	thinkers, err := planners(file, trees, models)
	if err != nil {
		return nil, err
	}
	shop, err := file.Core(thinkers)
	if err != nil {
		return nil, err
	}
	c := &transcript.Cast{Shop: shop, Chips: map[string]gates.Set{}}
	for i := range file.Gates {
		if s := file.Gates[i].Actuator.Servo; s != nil {
			for _, name := range []string{s.Chip.String(), file.Buses[s.Chip.Bus].Name + ":" + s.Chip.String()} {
				c.Chips[name] = c.Chips[name].With(i)
			}
		}
	}
	return c, nil
}
