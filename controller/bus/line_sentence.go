package bus

import (
	"errors"
	"fmt"
	"syscall"
)

// sentence says why a line was not given: the likely cause and the next step.
func (c *LineChip) sentence(offset int, err error) error {
	where := fmt.Sprintf("%s line %d", c.Name, offset)
	info, _ := c.sys.line(offset)
	if info.Name != "" {
		where += " (" + info.Name + ")"
	}
	switch {
	case errors.Is(err, syscall.EBUSY):
		who := "something else"
		if info.Consumer != "" {
			who = fmt.Sprintf("%q", info.Consumer)
		}
		return fmt.Errorf("%s is in use by %s (%w): stop that, remove its overlay, or take another line", where, who, err)
	case errors.Is(err, syscall.EPERM), errors.Is(err, syscall.EACCES):
		return fmt.Errorf("%s may not be used (%w): the board reserves it; take another line", where, err)
	case errors.Is(err, syscall.ENXIO):
		return fmt.Errorf("%s cannot report edges (%w): its chip has no interrupt for it; leave edges out or take another line", where, err)
	case errors.Is(err, syscall.EINVAL):
		return fmt.Errorf("%s cannot be set up like this (%w): leave out bias and debounce one after the other to see which it lacks", where, err)
	default:
		return fmt.Errorf("%s was not given (%w): check the chip's name and the line's number", where, err)
	}
}
