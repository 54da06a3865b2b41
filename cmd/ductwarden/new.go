package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"ductwarden/config"
	"ductwarden/controller/bench"
)

func newVerb() *cobra.Command {
	var only bool
	c := &cobra.Command{
		Use:   "new [FILE]",
		Short: "Ask about a shop in plain words and write its first shop file",
		Long: "Asks for machines, pipes, gates and what the fan's label says, in inches or millimetres, draws the ducts, and writes a\n" +
			"commented shop file (shop.yaml here, unless FILE is named) that `check` accepts and `survey` and `rehearse` run. Enter\n" +
			"takes what stands in brackets; `?` explains a question. Answers may come from a file: one line each, in order. A file\n" +
			"that is there already is not overwritten without asking.",
		Example: "  ductwarden new\n  ductwarden new garage.yaml\n  ductwarden new --print < answers.txt",
		Args:    cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			path := nearConfig
			if len(args) > 0 {
				path = args[0]
			}
			a := &asker{typist: newTypist(c.InOrStdin()), out: c.OutOrStdout(), again: isTerminal(c.OutOrStdout())}
			if only {
				a.out = c.ErrOrStderr()
			}
			text, err := a.shop(c.Context())
			if err != nil {
				return err
			}
			file, err := config.Parse(path, bytes.NewReader(text))
			if err != nil {
				return fmt.Errorf("the answers do not make a shop that can be: %w", err)
			}
			fmt.Fprintln(a.out)
			drawShop(a.out, file, speaksUTF8())
			fmt.Fprintln(a.out, "\nBefore you build:")
			printCautions(a.out, bench.DraftCautions())
			if only {
				_, err := c.OutOrStdout().Write(text)
				return err
			}
			return a.write(c.Context(), path, text, file)
		},
	}
	c.Flags().BoolVar(&only, "print", false, "print the shop file and write nothing; the talk goes to stderr")
	return c
}

// write puts the file in its place, and asks where one is there already.
func (a *asker) write(ctx context.Context, path string, text []byte, file *config.Shop) error {
	if isThere(path) {
		ok, err := a.typist.yes(ctx, a.out, fmt.Sprintf("\n%s is there already. Overwrite it?", path))
		if err != nil {
			return err
		}
		if !ok {
			fmt.Fprintln(a.out, "Nothing was written. Name another: ductwarden new FILE")
			return errNo
		}
	}
	if err := replaceFile(path, text); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "\nWritten to %s. Now, without any metal:\n  ductwarden check %[1]s\n", path)
	if file.Collectors[0].Fan != nil {
		fmt.Fprintf(a.out, "  ductwarden survey %s      which machine gets its air, what carries, what does not\n", path)
	}
	fmt.Fprintf(a.out, "  ductwarden rehearse %s    the whole shop, simulated\n", path)
	if file.Gates[0].Actuator.Servo != nil {
		fmt.Fprintf(a.out, "  ductwarden jog %q --rehearse --config %s\n", file.Gates[0].Name, path)
	}
	return nil
}

// asker asks.
type asker struct {
	typist *typist
	out    io.Writer
	again  bool // a person types: a wrong answer is asked again
}

// required is the usual answer of a question that has none.
const required = "\x00"

// ask puts one question until read takes the answer. usual is what Enter means; help explains.
func (a *asker) ask(ctx context.Context, question, usual, help string, read func(string) error) error {
	for {
		switch usual {
		case "":
			fmt.Fprint(a.out, question+" [not known] ")
		case required:
			fmt.Fprint(a.out, question+" ")
		default:
			fmt.Fprintf(a.out, "%s [%s] ", question, usual)
		}
		line, err := a.typist.line(ctx)
		if err != nil {
			fmt.Fprintln(a.out)
			if errors.Is(err, errInputEnded) {
				return fmt.Errorf("the answers end before the question %q; nothing was written", question)
			}
			return err
		}
		if !a.again {
			fmt.Fprintln(a.out, line)
		}
		if line == "?" {
			fmt.Fprintln(a.out, wrapped("  ", help, 100))
			continue
		}
		if line == "" && usual != required {
			line = usual
		}
		err = read(line)
		if err == nil {
			return nil
		}
		if !a.again {
			return fmt.Errorf("the question %q was answered %q: %w; nothing was written", question, clip(line, 60), err)
		}
		fmt.Fprintln(a.out, wrapped("  ", err.Error()+".", 100))
	}
}
