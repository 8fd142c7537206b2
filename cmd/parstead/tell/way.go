package tell

import (
	"context"
	"time"
)

// Way is a means of sending one message.
type Way interface {
	// Send returns once the message is handed over, or says why it is not.
	Send(context.Context, Message) error
}

// sendTimeout bounds one attempt of either way.
const sendTimeout = 30 * time.Second
