package main

import (
	"strings"
	"testing"

	"github.com/alecthomas/kong"
)

// A parser of the one command that is named says the same as one of all: its
// help, its version, and what is wrong with a command line.
func TestOneCommandReadsAsAmongAll(t *testing.T) {
	t.Parallel()
	said := func(grammar any, args []string) string {
		var out strings.Builder
		parser, err := kong.New(grammar,
			kong.Name("parstead"), kong.Writers(&out, &out), kong.Exit(func(int) {}),
			kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 80}), kong.Vars{"version": "parstead of today"})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := parser.Parse(args); err != nil {
			out.WriteString(err.Error() + commandOf(err))
		}
		return out.String()
	}
	eachCommand(t, func(name, _ string) {
		if _, all := grammar([]string{name}).(*commands); all {
			t.Errorf("%s is not found alone", name)
		}
		for _, args := range [][]string{
			{name},
			{name, "--help"},
			{name, "-h"},
			{name, "--version"},
			{name, "--no-such"},
			{name, "--jsom"},
			{name, t.TempDir()},
			{name, "a", "b", "c", "d"},
			{name, "--seed", "x"},
			{name, "dli"},
			{name, "--at"},
		} {
			if one, all := said(grammar(args), args), said(new(commands), args); one != all {
				t.Errorf("%q:\n%s\namong all:\n%s", args, one, all)
			}
		}
	})
	for _, args := range [][]string{nil, {"--help"}, {"--version"}, {"dl"}, {"Dli"}, {"--json", "dli"}} {
		if _, all := grammar(args).(*commands); !all {
			t.Errorf("%q: not all commands", args)
		}
	}
}
