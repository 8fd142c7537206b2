package export

import (
	"math"
	"strconv"
	"time"

	"parstead/light"
)

// column is a column of rows of T.
type column[T any] struct {
	ColumnMeaning
	cell func(T) string
}

// The types of the Table Schema standard that columns have. A datetime may hold parts
// of a second.
const (
	typeText    = "string"
	typeNumber  = "number"
	typeWhole   = "integer"
	typeDate    = "date"
	typeTime    = "datetime"
	typeBoolean = "boolean"
)

func text[T any](name, means, source string, of func(T) string) column[T] {
	return column[T]{ColumnMeaning{Name: name, Type: typeText, Means: means, Source: source}, of}
}

func number[T any](name, unit, means, source string, of func(T) float64) column[T] {
	return column[T]{ColumnMeaning{Name: name, Type: typeNumber, Unit: unit, Means: means, Source: source}, func(row T) string { return cell(of(row)) }}
}

func whole[T any](name, means, source string, of func(T) int) column[T] {
	return column[T]{ColumnMeaning{Name: name, Type: typeWhole, Means: means, Source: source}, func(row T) string { return strconv.Itoa(of(row)) }}
}

func day[T any](name, means, source string, of func(T) light.Date) column[T] {
	return column[T]{ColumnMeaning{Name: name, Type: typeDate, Means: means, Source: source}, func(row T) string { return dateCell(of(row)) }}
}

func instant[T any](name, means, source string, of func(T) time.Time) column[T] {
	return column[T]{ColumnMeaning{Name: name, Type: typeTime, Means: means, Source: source}, func(row T) string { return timeCell(of(row)) }}
}

// cell writes a number so that it reads back as the same; empty if not known.
func cell(v float64) string {
	if math.IsNaN(v) {
		return ""
	}
	return strconv.FormatFloat(v, 'g', -1, 64)
}

func timeCell(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339Nano)
}

func dateCell(d light.Date) string {
	if d.IsZero() {
		return ""
	}
	return d.String()
}

func yesCell(yes bool) string {
	if yes {
		return "yes"
	}
	return ""
}
