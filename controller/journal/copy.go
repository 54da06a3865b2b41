package journal

import (
	"context"
	"fmt"
)

// CopyTo writes a whole, tidy copy of the journal into a file that is not there yet, also while a daemon writes.
func (b *Book) CopyTo(ctx context.Context, path string) error {
	if _, err := b.db.ExecContext(ctx, "VACUUM INTO ?", path); err != nil {
		return fmt.Errorf("copy of the journal: %w; is there room in its folder?", err)
	}
	return nil
}
