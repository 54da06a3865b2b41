package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"

	"ductwarden/config"
	"ductwarden/controller/loop"
)

// The lock file of the buses holds the text of the shop file by which the program drives lines, for as long as it
// does: whoever has to drive them off after it died needs the file of then, not one that somebody is just changing. A
// comment before it names the boot: after another one the board's pins are as they come up, and wires may have moved.

var errNoneInForce = errors.New("no program has died with lines in its hands since the computer started")

func thisBoot() []byte { return fmt.Appendf(nil, "# boot %x\n", loop.MachineClock{}.Boot()) }

// noteInForce keeps the text of the shop file that is in force from now on.
func noteInForce(held *os.File, text []byte) error {
	if held.Name() == os.DevNull { // a computer without lines
		return nil
	}
	text = append(thisBoot(), text...)
	_, err := held.WriteAt(text, 0)
	if err == nil {
		err = held.Truncate(int64(len(text)))
	}
	if err != nil {
		return fmt.Errorf("the shop file in force cannot be kept: %w; make room where %s lies: after a crash the lines of the shop file as it is then are driven off", err, held.Name())
	}
	return nil
}

// forgetInForce says that no line is driven any more.
func forgetInForce(held *os.File) error {
	if held.Name() == os.DevNull {
		return nil
	}
	if err := held.Truncate(0); err != nil {
		return fmt.Errorf("%s cannot be emptied: %w; remove it", held.Name(), err)
	}
	return nil
}

// inForce is the shop of the program that died in this boot, or errNoneInForce.
func inForce(held *os.File) (*config.Shop, error) {
	text, err := io.ReadAll(io.NewSectionReader(held, 0, 16<<20))
	if err != nil {
		return nil, err
	}
	if !bytes.HasPrefix(text, thisBoot()) {
		return nil, errNoneInForce
	}
	return config.Parse("the shop file in force", bytes.NewReader(text))
}
