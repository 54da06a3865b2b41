package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"ductwarden/config"
	"ductwarden/controller/bench"
)

// begunFile is a shop file with an item that is not written yet, or that does not exist yet.
type begunFile struct {
	path string
	text []byte // with the item
}

// Preview implements bench.File.
func (f begunFile) Preview(changes []bench.Change) (before, after []byte, err error) {
	before, err = os.ReadFile(f.path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, nil, fmt.Errorf("the shop file cannot be read: %w", err)
	}
	after, err = spliced(f.path, f.text, changes)
	return before, after, err
}

// Keep implements bench.File.
func (f begunFile) Keep(changes []bench.Change) error {
	_, after, err := f.Preview(changes)
	if err != nil {
		return err
	}
	return replaceFile(f.path, after)
}

// begun reads the text to which an item is to be added: the file, or the first lines of one.
func begun(path, verb string) (text []byte, file *config.Shop, err error) {
	text, err = os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return []byte(bench.FirstLines(verb)), nil, nil
	}
	if err != nil {
		return nil, nil, fmt.Errorf("the shop file cannot be read: %w", err)
	}
	file, err = config.Parse(path, bytes.NewReader(text))
	return text, file, err
}

// onBus makes sure that the text names an I2C bus, and says how a chip on it is written.
func onBus(text []byte, file *config.Shop, device, chip string) ([]byte, string, error) {
	name := "main"
	i2c := 0
	if file != nil {
		for _, b := range file.Buses {
			if b.SPI {
				continue
			}
			i2c++
			if device == "" || b.Device == device {
				name = b.Name
			} else if i2c == 1 {
				name = ""
			}
		}
	}
	switch {
	case i2c == 0:
		if file != nil && len(file.Buses) > 0 {
			return nil, "", errors.New("the shop file names buses, but no I2C bus: add one to its buses")
		}
		if device == "" {
			device = usualBus
		}
		if n := len(text); n > 0 && text[n-1] != '\n' {
			text = append(text, '\n')
		}
		return append(bytes.Clone(text), bench.BusLine(name, device)...), chip, nil
	case name == "":
		return nil, "", fmt.Errorf("the shop file names no bus %s: add it to its buses, or leave --bus out", device)
	case i2c > 1:
		return text, name + ":" + chip, nil
	}
	return text, chip, nil
}

// usualBus is the I2C bus on the pins of the usual boards.
const usualBus = "/dev/i2c-1"
