package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"ductwarden/config"
)

// checkVerb says whether a shop file is right, or everything that is wrong with it.
func checkVerb() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "check FILE",
		Short: "Check a shop file and show every problem with its line",
		Long: "Reads a shop file as run does, and moves nothing. Either it is in order, and the counts of what it has and the\n" +
			"things to know follow, or every problem is shown, a line each, with line and column, what was found and what\n" +
			"is accepted. config/reference.yaml explains every key. Exit code 0: in order; 1: problems.",
		Example: "  ductwarden check shop.yaml\n  ductwarden check shop.yaml --json",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			shop, err := config.Load(args[0])
			var problems config.Problems
			if err != nil && !errors.As(err, &problems) {
				return err
			}
			if asJSON {
				if err := writeProblems(c.OutOrStdout(), problems); err != nil {
					return err
				}
			} else if err := writeCheck(c.OutOrStdout(), args[0], shop, problems); err != nil {
				return err
			}
			switch len(problems) {
			case 0:
				return nil
			case 1:
				fmt.Fprintf(c.ErrOrStderr(), "ductwarden: %s has a problem; mend it and check again\n", args[0])
			default:
				fmt.Fprintf(c.ErrOrStderr(), "ductwarden: %s has %d problems; mend them and check again\n", args[0], len(problems))
			}
			return errNo
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	return c
}

// checkReport is the answer of check --json.
type checkReport struct {
	OK       bool             `json:"ok"`
	Problems []config.Problem `json:"problems"`
}

func writeProblems(w io.Writer, problems config.Problems) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return e.Encode(checkReport{OK: len(problems) == 0, Problems: append([]config.Problem{}, problems...)})
}

func writeCheck(w io.Writer, file string, s *config.Shop, problems config.Problems) error {
	for _, p := range problems {
		if _, err := fmt.Fprintln(w, p); err != nil {
			return err
		}
	}
	if s == nil {
		return nil
	}
	if _, err := fmt.Fprintf(w, "%s is in order\n%s\n", file, s.Summary()); err != nil {
		return err
	}
	for _, r := range s.Rungs() {
		if !r.Has {
			fmt.Fprintf(w, "  no %s: with them %s\n", r.Name, r.Adds)
		}
	}
	for _, said := range s.NotJudged() {
		fmt.Fprintf(w, "  %s\n", said)
	}
	for _, n := range s.Notes() {
		fmt.Fprintf(w, "  note: %s\n", n)
	}
	return nil
}
