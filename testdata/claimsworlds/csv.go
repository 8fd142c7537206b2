package claimsworlds

import (
	"bytes"
	"encoding/csv"
	"math"
	"strconv"
)

// Find returns the column of that name, or nil.
func Find(columns []Column, name string) *Column {
	for i := range columns {
		if columns[i].Name == name {
			return &columns[i]
		}
	}
	return nil
}

// Len is the number of rows of a column.
func (c Column) Len() int {
	if c.Labels != nil {
		return len(c.Labels)
	}
	return len(c.Numbers)
}

// CSV writes the table; a number not recorded becomes an empty cell.
func (t Trial) CSV() string {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	head := make([]string, len(t.Table))
	for j, c := range t.Table {
		head[j] = c.Name
	}
	_ = w.Write(head) // a bytes.Buffer never fails
	for i := 0; len(t.Table) > 0 && i < t.Table[0].Len(); i++ {
		row := make([]string, len(t.Table))
		for j, c := range t.Table {
			row[j] = c.text(i)
		}
		_ = w.Write(row)
	}
	w.Flush()
	return out.String()
}

func (c Column) text(i int) string {
	if c.Labels != nil {
		return c.Labels[i]
	}
	if math.IsNaN(c.Numbers[i]) {
		return ""
	}
	return strconv.FormatFloat(c.Numbers[i], 'g', -1, 64)
}
