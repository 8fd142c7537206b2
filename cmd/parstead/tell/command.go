package tell

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os/exec"
	"strings"
	"time"
)

// Command is a program that gets each message as one JSON object on its
// standard input and ends with status 0 when it has sent it.
type Command []string

// Send runs the program.
func (c Command) Send(ctx context.Context, m Message) error {
	object, err := json.Marshal(m)
	if err != nil {
		return fmt.Errorf("write the message as JSON: %w", err)
	}
	ctx, cancel := context.WithTimeout(ctx, sendTimeout)
	defer cancel()
	program := exec.CommandContext(ctx, c[0], c[1:]...)
	program.Stdin = bytes.NewReader(append(object, '\n'))
	program.WaitDelay = time.Second
	out, err := program.CombinedOutput()
	if err != nil {
		if ctx.Err() != nil {
			err = fmt.Errorf("not done within %s", sendTimeout)
		}
		return fmt.Errorf("[tell] command %s: %w%s", c[0], err, lastWords(out))
	}
	return nil
}

func lastWords(out []byte) string {
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	last := lines[len(lines)-1]
	if last == "" {
		return ""
	}
	return " (" + last[:min(len(last), 200)] + ")"
}
