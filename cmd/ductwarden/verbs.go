package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"ductwarden/controller/cautions"
)

// Exit codes of every verb.
const (
	exitDone  = 0 // done, or the answer is yes
	exitNo    = 1 // the answer is no, or it could not be done
	exitUsage = 2 // wrong use
)

// errNo ends a verb with exit code 1 after it has said why on its own.
var errNo = errors.New("no")

// usageError marks a mistake in how a verb was called.
type usageError struct{ error }

// verbs lists the constructors of all verbs; each file adds its own here.
var verbs = []func() *cobra.Command{
	newVerb,
	jogVerb,
	oscillatorVerb,
	learnVerb,
	listenVerb,
	fitVerb,
	takeoffVerb,
	runVerb,
	rehearseVerb,
	statusVerb,
	acknowledgeVerb,
	shelveVerb,
	markVerb,
	finishVerb,
	haltVerb,
	readyVerb,
	reloadVerb,
	setupCodeVerb,
	accessVerb,
	checkVerb,
	historyVerb,
	recordVerb,
	replayVerb,
	surveyVerb,
	doctorVerb,
	pathsVerb,
	textsVerb,
	backupVerb,
	restoreVerb,
	eraseVerb,
	diagnosticsVerb,
	linesOffVerb,
	manualVerb,
}

// warn puts the cautions that belong to a verb at the end of its help.
func warn(c *cobra.Command) {
	said := cautions.Help(cautions.Verb(c.Name()))
	if said == "" {
		return
	}
	if c.Long == "" {
		c.Long = c.Short
	}
	c.Long += "\n\nCautions (all of them: the README, or /cautions on the page):\n" + said
}

// execute parses the command line and runs one verb. Errors go to stderr as one sentence.
func execute(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	root := &cobra.Command{
		Use:           "ductwarden",
		Version:       version,
		Short:         "Opens the blast gate of the machine that runs and starts the dust collector",
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.NoArgs,
		RunE:          func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	root.SetArgs(args)
	root.PersistentPreRun = func(c *cobra.Command, _ []string) { endOnHangUp(c) }
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error { return usageError{err} })
	for _, v := range verbs {
		c := v()
		warn(c)
		inner := c.Args
		c.Args = func(c *cobra.Command, a []string) error {
			if inner == nil {
				return nil
			}
			if err := inner(c, a); err != nil {
				return usageError{err}
			}
			return nil
		}
		root.AddCommand(c)
	}
	err := root.ExecuteContext(ctx)
	var wrong usageError
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errNo):
		return exitNo
	case errors.As(err, &wrong):
		fmt.Fprintf(stderr, "ductwarden: %v; see: ductwarden --help\n", wrong)
		return exitUsage
	default:
		fmt.Fprintf(stderr, "ductwarden: %v\n", err)
		return exitNo
	}
}
