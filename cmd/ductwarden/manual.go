package main

import (
	"fmt"
	"os"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// manualVerb writes the man pages of every verb, for packages. The date in them is SOURCE_DATE_EPOCH, so that the
// same commit gives the same pages.
func manualVerb() *cobra.Command {
	return &cobra.Command{
		Use: "manual FOLDER", Short: "Write the man pages into a folder", Args: cobra.ExactArgs(1), Hidden: true,
		Example: "  ductwarden manual man",
		RunE: func(c *cobra.Command, args []string) error {
			if err := os.MkdirAll(args[0], 0o755); err != nil {
				return fmt.Errorf("the folder for man pages: %w", err)
			}
			c.Root().DisableAutoGenTag = true
			return doc.GenManTree(c.Root(), &doc.GenManHeader{Section: "1", Source: "ductwarden " + version, Manual: "ductwarden"}, args[0])
		},
	}
}
