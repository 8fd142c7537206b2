package model

import "fmt"

// RowError is a value that no model takes. Row counts the rows given, from 0; who
// knows what these rows are words it better.
type RowError struct {
	Row  int
	Says string
}

// Error words the fault.
func (e *RowError) Error() string { return fmt.Sprintf("row %d of those used: %s", e.Row+1, e.Says) }
