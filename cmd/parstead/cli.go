package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"reflect"
	"strings"
	"time"

	"github.com/alecthomas/kong"

	"parstead/cmd/parstead/version"
)

// commands is the command line. Each command lives in the file of its name.
type commands struct {
	Demo  demoCmd  `cmd:"" help:"Play a whole season on a simulated rack and correlate its harvest."`
	Begin beginCmd `cmd:"" help:"Write a commented starter trial."`
	Check checkCmd `cmd:"" help:"Tell everything that is wrong with a trial's files, at once."`
	Run   runCmd   `cmd:"" help:"Watch a trial: take readings in, keep the light account, show and tell."`

	DLI  dliCmd  `cmd:"" name:"dli" help:"Tell the light of each position and day."`
	Note noteCmd `cmd:"" help:"Write a line into the trial's log, or list the log."`

	Topics  topicsCmd  `cmd:"" help:"Tell what arrives at the broker now."`
	Import  importCmd  `cmd:"" help:"Take readings in from a logger's file."`
	Climate climateCmd `cmd:"" help:"Tell the air of each bin and day: warmth, humidity, degree-days."`

	Layout    layoutCmd    `cmd:"" help:"Deal plants to positions and treatments to plants, at random."`
	Sheet     sheetCmd     `cmd:"" help:"Make a sheet to print and fill in: survey, labels, count, harvest."`
	Correlate correlateCmd `cmd:"" help:"Correlate the harvest with treatments, places and light."`
	Compare   compareCmd   `cmd:"" help:"Set the effects that several trials found side by side."`
	Size      sizeCmd      `cmd:"" help:"Tell how many plants and bins a next trial needs."`

	Export  exportCmd  `cmd:"" help:"Write the whole trial as CSV files with a description."`
	Backup  backupCmd  `cmd:"" help:"Copy the whole trial into one file, while the daemon runs too."`
	Restore restoreCmd `cmd:"" help:"Bring a trial back out of a backup, or readings out of a damaged database."`

	Completion completionCmd `cmd:"" hidden:"" help:"Print what makes a shell complete commands and options."`
	Manual     manualCmd     `cmd:"" hidden:"" help:"Print the manual page."`

	Version kong.VersionFlag `help:"Print the version and end."`
}

// env is what a command is given of the world.
type env struct {
	ctx            context.Context
	stdin          io.Reader
	stdout, stderr io.Writer
	now            func() time.Time
}

// errSaid ends a command with exit status 1 when it has already said why.
var errSaid = errors.New("already said")

// usageError is a command line that can't be meant: exit status 2.
type usageError struct{ says string }

func (e usageError) Error() string { return e.says }

// run carries out one command line. Results go to stdout, talk to stderr.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) error {
	return runAt(&env{ctx, stdin, stdout, stderr, time.Now}, args)
}

func runAt(e *env, args []string) error {
	ended := false // help or version was asked for and printed
	parser, err := kong.New(grammar(args),
		kong.Name("parstead"),
		kong.Description("The light each place got, and what the harvest owes to it. "+
			"Exit status: 0 done, 1 a fault, 2 a command line that can't be meant."),
		kong.Writers(e.stdout, e.stderr),
		kong.Exit(func(int) { ended = true }),
		kong.KindMapper(reflect.String, kong.MapperFunc(asGiven)),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 80}),
		kong.Vars{"version": version.Words()},
	)
	if err != nil {
		return fmt.Errorf("build the command line: %w", err)
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	call, err := parser.Parse(args)
	if ended {
		return nil
	}
	if err != nil {
		return usageError{fmt.Sprintf("%s; see parstead %s--help", strings.TrimSpace(err.Error()), commandOf(err))}
	}
	out := &results{to: e.stdout}
	e.stdout = out
	if err := call.Run(e); err != nil {
		return err
	}
	return out.failed
}

// asGiven takes a text of the command line byte by byte: a folder's name need not
// be UTF-8, and the library would put other signs in place of what is not.
func asGiven(c *kong.DecodeContext, target reflect.Value) error {
	token, err := c.Scan.PopValue("string")
	if err == nil {
		target.SetString(token.String())
	}
	return err
}

// commandOf is the command that a command line names, with a blank; "" where it
// names none.
func commandOf(err error) string {
	parse, ok := errors.AsType[*kong.ParseError](err)
	if !ok || parse.Context == nil || parse.Context.Selected() == nil {
		return ""
	}
	return parse.Context.Selected().Name + " "
}

// results remembers the first write that failed, so that commands may print
// line by line and a full disk behind a redirection is told all the same.
type results struct {
	to     io.Writer
	failed error
}

func (r *results) Write(b []byte) (int, error) {
	n, err := r.to.Write(b)
	if err != nil && r.failed == nil {
		r.failed = fmt.Errorf("write the results: %w", err)
	}
	return n, err
}

// exitCode tells an error in one line and gives the process's exit status.
func exitCode(err error, stderr io.Writer) int {
	var usage usageError
	switch {
	case err == nil:
		return 0
	case errors.Is(err, errSaid):
		return 1
	case errors.As(err, &usage):
		fmt.Fprintln(stderr, "parstead:", err)
		return 2
	default:
		fmt.Fprintln(stderr, "parstead:", err)
		return 1
	}
}
