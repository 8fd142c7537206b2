package main

import (
	"fmt"
	"strings"

	"github.com/alecthomas/kong"

	"parstead/cmd/parstead/version"
)

// manualCmd prints the manual page: what each command's --help says.
type manualCmd struct{}

// Help is what manual --help says beside its options.
func (manualCmd) Help() string {
	return `Prints the manual page in the form that man reads. The packages bring it along.

Example: parstead manual

Exit status: 0 printed.`
}

// Run prints it.
func (manualCmd) Run(e *env) error {
	all, err := kong.New(new(commands), kong.Vars{"version": ""})
	if err != nil {
		return err
	}
	page := func(args ...string) (string, error) {
		var b strings.Builder
		err := runAt(&env{e.ctx, e.stdin, &b, e.stderr, e.now}, append(args, "--help"))
		return preformatted(b.String()), err
	}
	text, err := page()
	if err != nil {
		return err
	}
	fmt.Fprintf(e.stdout, ".TH PARSTEAD 1 \"\" \"parstead %s\"\n.SH NAME\nparstead \\- light account and harvest correlation of a plant propagation trial\n.SH SYNOPSIS\n%s", version.Number, text)
	for _, node := range all.Model.Children {
		if node.Hidden {
			continue
		}
		if text, err = page(node.Name); err != nil {
			return err
		}
		fmt.Fprintf(e.stdout, ".SH %s\n%s", strings.ToUpper(node.Name), text)
	}
	return nil
}

// preformatted is a text that roff sets as it stands (groff_man(7)): a backslash begins
// an escape, a point or an apostrophe at a line's beginning a request, and a hyphen is
// one that can be copied only as \-.
func preformatted(text string) string {
	lines := strings.Split(strings.TrimRight(strings.NewReplacer(`\`, `\e`, "-", `\-`).Replace(text), "\n"), "\n")
	for i, l := range lines {
		if strings.HasPrefix(l, ".") || strings.HasPrefix(l, "'") {
			lines[i] = `\&` + l
		}
	}
	return ".nf\n" + strings.Join(lines, "\n") + "\n.fi\n"
}
