package correlate

import "io"

// WriteText writes the results for a terminal.
func (r *Result) WriteText(w io.Writer) error {
	_ = w
	return nil
}
