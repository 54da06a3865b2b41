package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"ductwarden/controller/panel/api"
)

// put asks the daemon for something under /api/v1/access and takes the answer into out.
func (f *consoleFlags) put(c *cobra.Command, method, path string, in, out any) error {
	client, err := f.client()
	if err != nil {
		return err
	}
	return client.Exchange(c.Context(), method, "/api/v1/access"+path, in, out)
}

// as prints v as JSON where that was asked for, else the lines.
func (f *consoleFlags) as(c *cobra.Command, v any, lines ...string) error {
	if f.json {
		return json.NewEncoder(c.OutOrStdout()).Encode(v)
	}
	_, err := fmt.Fprintln(c.OutOrStdout(), strings.Join(lines, "\n"))
	return err
}

// setupCodeVerb shows a new set-up code.
func setupCodeVerb() *cobra.Command {
	var f consoleFlags
	c := &cobra.Command{
		Use:   "setup-code",
		Short: "Show a one-time code with which the page's password is set",
		Long: "Shows a one-time code for the running daemon's page: with it the first password is set, or a new one when the old\n" +
			"is forgotten. It works once, for 15 minutes; an older one works no more. When no password is set the daemon prints\n" +
			"one into its log at its start.",
		Example: "  ductwarden setup-code",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			var code api.Code
			if err := f.put(c, http.MethodPost, "/code", nil, &code); err != nil {
				return err
			}
			return f.as(c, code, code.Code, fmt.Sprintf("Open the page, enter the code and a new password. It works once, for %d minutes.", code.Minutes))
		},
	}
	f.add(c)
	return c
}

// accessVerb says and changes who may do what on the page.
func accessVerb() *cobra.Command {
	var f consoleFlags
	c := &cobra.Command{
		Use:   "access",
		Short: "Say and change who may do what on the page: PIN, tokens, a way back in",
		Long: "Says whether the running daemon's page has a password and a PIN, and which tokens there are. The PIN lets a wall\n" +
			"tablet press Ready, acknowledge and hold a gate; a token lets a program ask the API. `access reset` forgets\n" +
			"password, PIN, tokens and logins and shows a set-up code: whoever may open the console socket may do that.",
		Example: "  ductwarden access\n  ductwarden access pin\n  ductwarden access token kettle --role call\n  ductwarden access forget kettle\n  ductwarden access reset",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			var a api.Access
			if err := f.put(c, http.MethodGet, "", nil, &a); err != nil {
				return err
			}
			return f.as(c, a, accessLines(a)...)
		},
	}
	f.add(c)
	c.AddCommand(accessPIN(), accessToken(), accessForget(), accessReset())
	return c
}

func accessLines(a api.Access) []string {
	say := func(what string, set bool) string {
		if set {
			return what + " is set"
		}
		return what + " is not set"
	}
	out := []string{say("the password", a.Password), say("the PIN", a.PIN)}
	for _, t := range a.Tokens {
		out = append(out, fmt.Sprintf("a token for %s, which may %s", t.Name, t.Role))
	}
	return out
}

func accessPIN() *cobra.Command {
	var f consoleFlags
	var remove bool
	c := &cobra.Command{
		Use: "pin", Short: "Set the wall tablet's PIN, or take it away",
		Long: "Asks for 4 to 12 digits without showing them, or reads them from standard input.", Args: cobra.NoArgs,
		Example: "  ductwarden access pin\n  ductwarden access pin --remove",
		RunE: func(c *cobra.Command, _ []string) error {
			var pin api.NewPIN
			var err error
			if !remove {
				if pin.PIN, err = secretLine(c.InOrStdin(), c.ErrOrStderr(), "New PIN: "); err != nil {
					return err
				}
				if pin.PIN == "" {
					return fmt.Errorf("no PIN was given: type 4 to 12 digits, or take it away with --remove")
				}
			}
			var a api.Access
			if err := f.put(c, http.MethodPut, "/pin", pin, &a); err != nil {
				return err
			}
			return f.as(c, a, map[bool]string{true: "the PIN was taken away", false: "the PIN is set"}[remove])
		},
	}
	f.add(c)
	c.Flags().BoolVar(&remove, "remove", false, "take the PIN away")
	return c
}

// secretLine asks for something on a terminal without showing it; elsewhere it reads a line.
func secretLine(in io.Reader, say io.Writer, question string) (string, error) {
	if f, ok := in.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		fmt.Fprint(say, question)
		b, err := term.ReadPassword(int(f.Fd()))
		fmt.Fprintln(say)
		return strings.TrimSpace(string(b)), err
	}
	line, err := bufio.NewReader(io.LimitReader(in, 1024)).ReadString('\n')
	if err == io.EOF {
		err = nil
	}
	return strings.TrimSpace(line), err
}

func accessToken() *cobra.Command {
	var f consoleFlags
	var role string
	c := &cobra.Command{
		Use: "token NAME", Short: "Make a token for a program; it is shown once", Args: cobra.ExactArgs(1),
		Example: "  ductwarden access token kettle --role call",
		RunE: func(c *cobra.Command, args []string) error {
			var t api.Token
			if err := f.put(c, http.MethodPost, "/tokens", api.NewToken{Name: args[0], Role: role}, &t); err != nil {
				return err
			}
			return f.as(c, t, t.Token, "Shown only now. Send it as: Authorization: Bearer TOKEN")
		},
	}
	f.add(c)
	c.Flags().StringVar(&role, "role", "look", "what it may: look, call (air, finish, halt), duty (Ready, acknowledge, hold)")
	return c
}

func accessForget() *cobra.Command {
	var f consoleFlags
	c := &cobra.Command{
		Use: "forget NAME", Short: "Take a token away", Args: cobra.ExactArgs(1),
		Example: "  ductwarden access forget kettle",
		RunE: func(c *cobra.Command, args []string) error {
			var a api.Access
			if err := f.put(c, http.MethodDelete, "/tokens/"+url.PathEscape(args[0]), nil, &a); err != nil {
				return err
			}
			return f.as(c, a, "the token of "+args[0]+" works no more")
		},
	}
	f.add(c)
	return c
}

func accessReset() *cobra.Command {
	var f consoleFlags
	c := &cobra.Command{
		Use: "reset", Short: "Forget password, PIN, tokens and logins, and show a set-up code", Args: cobra.NoArgs,
		Example: "  ductwarden access reset",
		RunE: func(c *cobra.Command, _ []string) error {
			var code api.Code
			if err := f.put(c, http.MethodPost, "/reset", nil, &code); err != nil {
				return err
			}
			return f.as(c, code, code.Code, fmt.Sprintf("Everything is forgotten. Open the page, enter the code and a new password within %d minutes.", code.Minutes))
		},
	}
	f.add(c)
	return c
}
