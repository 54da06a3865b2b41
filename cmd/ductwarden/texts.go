package main

import (
	"encoding/json"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"ductwarden/config"
	"ductwarden/controller/panel"
)

// textsVerb prints what a translator begins with, and says what a translation lacks.
func textsVerb() *cobra.Command {
	return &cobra.Command{
		Use: "texts [FILE]", Short: "Print the page's texts to be translated, or say what a translation lacks", Args: cobra.MaximumNArgs(1),
		Long: "Without a file: every text of the page and every sentence that the program can say there, as JSON. Translate\n" +
			"what stands to the right; {1} and {2} stand for what is put in. The shop file names the result: page: {texts: FILE}.\n" +
			"With a file: reads it as the page would, and says how many texts it leaves in English.",
		Example: "  ductwarden texts > texts.json\n  ductwarden texts texts.json",
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				out := json.NewEncoder(c.OutOrStdout())
				out.SetEscapeHTML(false)
				out.SetIndent("", "  ")
				return out.Encode(panel.English())
			}
			_, missing, err := loadTexts(args[0])
			if err != nil {
				return err
			}
			fmt.Fprintf(c.OutOrStdout(), "%s can be used; %d of %d texts are left in English\n", args[0], missing, len(panel.English()))
			return nil
		},
	}
}

// loadTexts reads a language for the page.
func loadTexts(path string) (panel.Text, int, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, 0, fmt.Errorf("%w: check the name, or leave page.texts out for English", err)
	}
	t, missing, err := panel.LoadText(b)
	if err != nil {
		return nil, 0, fmt.Errorf("%s: %w", path, err)
	}
	return t, missing, nil
}

// pageTexts is the page's language. A file of texts that cannot be used stops no shop: the page is in English then, and
// says why.
func pageTexts(s *config.Shop) (texts panel.Text, untold string) {
	if s.Page.Texts == "" {
		return nil, ""
	}
	texts, _, err := loadTexts(s.Page.Texts)
	if err != nil {
		return nil, "The page is in English: " + err.Error() + "."
	}
	return texts, ""
}
