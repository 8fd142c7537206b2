package main

import (
	"fmt"
	"strings"

	"github.com/alecthomas/kong"
)

// completionCmd prints what makes a shell complete parstead's commands and options.
type completionCmd struct {
	Shell string `arg:"" enum:"bash,zsh,fish" help:"bash, zsh or fish."`
}

// Help is what completion --help says beside its options.
func (completionCmd) Help() string {
	return `Prints what a shell needs to complete commands and options with the tab key. The
packages bring it along.

Example: parstead completion bash

Exit status: 0 printed, 2 another shell.`
}

// Run prints it.
func (c *completionCmd) Run(e *env) error {
	all, err := kong.New(new(commands), kong.Vars{"version": ""})
	if err != nil {
		return err
	}
	write := map[string]func([]completed) string{"bash": completeBash, "zsh": completeZsh, "fish": completeFish}[c.Shell]
	_, err = fmt.Fprint(e.stdout, write(completions(all.Model)))
	return err
}

// completed is a command with what may follow it.
type completed struct {
	name, help string
	options    []*kong.Flag
	words      []string // that an argument may be
}

func completions(app *kong.Application) []completed {
	var list []completed
	for _, node := range app.Children {
		if node.Hidden {
			continue
		}
		c := completed{name: node.Name, help: node.Help}
		for _, f := range node.Flags {
			if !f.Hidden {
				c.options = append(c.options, f)
			}
		}
		for _, p := range node.Positional {
			if p.Enum != "" {
				c.words = append(c.words, p.EnumSlice()...)
			}
		}
		list = append(list, c)
	}
	return list
}

func (c completed) all() string {
	words := append([]string(nil), c.words...)
	for _, f := range c.options {
		words = append(words, "--"+f.Name)
	}
	return strings.Join(words, " ")
}

func names(list []completed) string {
	var all []string
	for _, c := range list {
		all = append(all, c.name)
	}
	return strings.Join(all, " ")
}

func completeBash(list []completed) string {
	var b strings.Builder
	fmt.Fprintf(&b, `# bash completion of parstead
_parstead() {
  local words
  if [ "$COMP_CWORD" = 1 ]; then
    words=%q
  else
    case "${COMP_WORDS[1]}" in
`, names(list)+" --help --version")
	for _, c := range list {
		fmt.Fprintf(&b, "    %s) words=%q ;;\n", c.name, c.all())
	}
	b.WriteString(`    esac
  fi
  COMPREPLY=($(compgen -W "$words" -- "${COMP_WORDS[COMP_CWORD]}"))
}
complete -o default -F _parstead parstead
`)
	return b.String()
}

func completeZsh(list []completed) string {
	var b strings.Builder
	fmt.Fprintf(&b, `#compdef parstead
_parstead() {
  if (( CURRENT == 2 )); then
    compadd -- %s --help --version
    return
  fi
  case $words[2] in
`, names(list))
	for _, c := range list {
		fmt.Fprintf(&b, "    %s) compadd -- %s ;;\n", c.name, c.all())
	}
	b.WriteString(`  esac
  _files
}
compdef _parstead parstead
`)
	return b.String()
}

func completeFish(list []completed) string {
	quoted := func(s string) string { return "'" + strings.NewReplacer(`\`, `\\`, "'", `\'`).Replace(s) + "'" }
	var b strings.Builder
	b.WriteString("# fish completion of parstead\n")
	for _, c := range list {
		fmt.Fprintf(&b, "complete -c parstead -n __fish_use_subcommand -a %s -d %s\n", c.name, quoted(c.help))
		after := quoted("__fish_seen_subcommand_from " + c.name)
		for _, f := range c.options {
			fmt.Fprintf(&b, "complete -c parstead -n %s -l %s -d %s\n", after, f.Name, quoted(f.Help))
		}
		if len(c.words) > 0 {
			fmt.Fprintf(&b, "complete -c parstead -n %s -a %s\n", after, quoted(strings.Join(c.words, " ")))
		}
	}
	return b.String()
}
