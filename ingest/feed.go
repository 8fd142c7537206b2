package ingest

import (
	"time"

	"parstead/light"
)

// Feed tells where one sensor's readings arrive and how to read them: one entry
// of a trial's sensors. Its topic may hold {bin}, {row} and {column}, each a
// part of one level; it then stands for a sensor at every position of every bin
// in Bins, named "NAME BIN ROW COLUMN".
type Feed struct {
	Topic       string
	Value       string // JSON Pointer (RFC 6901); "" takes the whole payload as a number
	Time        string // JSON Pointer to the reading's own time; "" takes the time of arrival
	TimeFormat  TimeFormat
	Zone        *time.Location // whose clocks a local time is read by; nil for UTC
	Number      NumberForm     // how a number that is text is written
	Sensor      light.Sensor   // its Name is the template where the topic has placeholders
	Placeholder bool           // whether Topic holds any of {bin} {row} {column}
	Bins        []light.Bin    // the bins that a placeholder may name
}
