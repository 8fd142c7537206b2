package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

// What is wrong with a table is told by the file's lines, blank ones counted,
// with the mend.
func TestMessagesOfTables(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, table, flags string
		want               []string
	}{
		{
			"two plants at one place", "m,bin,row,col,y\n\na,b1,1,1,3\nb,b2,1,1,2\nb,b1,1,1,4\na,b1,1,2,3\n", "--outcome y:measure --treatment m --bin bin --row row --column col",
			[]string{`line 5, column "row": two plants stand at b1, row 1, column 1, the other in line 3: mend one of them`},
		},
		{
			"two plants at one place of the only bin", "m,row,col,y\na,1,1,3\nb,1,2,2\nb,1,2,4\n", "--outcome y:measure --treatment m --row row --column col",
			[]string{"line 4, column", "two plants stand at row 1, column 2, the other in line 3", "--bin"},
		},
		{
			"a place twice, one of the plants lost", "m,row,col,y\na,1,1,3\nb,1,2,\nb,1,2,4\na,2,1,2\n", "--outcome y:measure --treatment m --row row --column col",
			[]string{"the other in line 3"},
		},
		{"out of range", "m,y\na,1\n\na,1e200\nb,2\nb,3\n", "--outcome y:measure --treatment m", []string{"the plant in line 4: the outcome is 1e+200", "give the column in another unit"}},
		{"covariate out of range", "m,y,x\na,1,1\nb,,2\na,2,3\nb,3,-1e90\nb,5,2\n", "--outcome y:measure --treatment m --covariate x", []string{"the plant in line 5: x is -1e+90"}},
		{"light out of range", "y,x\n\n\n1,1\n2,2\n4,1e300\n3,4\n", "--outcome y:measure --light x", []string{"the plant in line 6: light is 1e+300"}},
		{"too large for a number", "y,x\n1,1\n1e400,2\n", "--outcome y:measure --light x", []string{`line 3, column "y": "1e400" is too large for a number: mend the cell, or give`}},
		{"tiny and different", "m,y\na,1e-300\na,2e-300\nb,3e-300\nb,5e-300\n", "--outcome y:measure --treatment m", []string{"differ by less than can be reckoned with", "in a smaller unit"}},
		{"the same", "m,y\na,1e-300\na,1e-300\nb,1e-300\nb,1e-300\n", "--outcome y:measure --treatment m", []string{"every row has the same value"}},
	} {
		path := filepath.Join(t.TempDir(), "t.csv")
		if err := os.WriteFile(path, []byte(c.table), 0o600); err != nil {
			t.Fatal(err)
		}
		status, out, talk := command(t, march, "", append([]string{"correlate", "--table", path}, strings.Fields(c.flags)...)...)
		for _, want := range c.want {
			if status != 1 || !strings.Contains(talk, want) {
				t.Errorf("%s: exit status %d, no %q in %s", c.name, status, want, talk)
			}
		}
		if strings.Contains(out, "could not be analysed") {
			t.Errorf("%s: a finding that says it twice: %s", c.name, out)
		}
	}
	// What --by keeps apart may be another rack with bins of the same names.
	path := filepath.Join(t.TempDir(), "t.csv")
	if err := os.WriteFile(path, []byte("s,m,row,col,y\nA,a,1,1,3\nA,b,1,2,2\nA,a,1,3,4\nA,b,1,4,5\nB,b,1,1,4\nB,a,1,2,5\nB,b,1,3,3\nB,a,1,4,3\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, march, "", "correlate", "--table", path, "--outcome", "y:measure", "--treatment", "m", "--row", "row", "--column", "col", "--by", "s")
}

// Files that are not there, or no text, are told without what is in them.
func TestMessagesOfFiles(t *testing.T) {
	t.Parallel()
	dir, other := rackFolder(t, march, ownBroker), t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(other, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"correlate", "--table", filepath.Join(other, "none.csv"), "--outcome", "y:measure"}, "is not there: name a table"},
		{[]string{"import", dir, filepath.Join(other, "none.csv")}, "is not there: name the logger's file, or - for standard input"},
		{[]string{"import", dir, file("program", "\x7fELF\x02\x01\x01\x00\x00\x00\"\x80\xff\n")}, "program is no text in UTF-8 and no workbook: name a logger's file"},
		{[]string{"import", dir, file("utf16.csv", "\xff\xfet\x00i\x00m\x00e\x00")}, "utf16.csv is no text in UTF-8"},
		{[]string{"import", dir, file("latin.csv", "time,sens\xf6r,value\n1,2,3\n")}, "line 1: the heading is not UTF-8"},
	} {
		status, out, talk := command(t, march, "", c.args...)
		if status != 1 || out != "" || strings.Count(talk, "\n") != 1 || !strings.Contains(talk, c.want) || !utf8.ValidString(talk) || strings.ContainsAny(talk, "\x00\x7f\\") {
			t.Errorf("%q: exit status %d, %q, %q; want %q", c.args, status, out, talk, c.want)
		}
	}
}

// A command line that can't be meant points to the help of its command.
func TestUsagePointsToTheCommandsHelp(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ line, want string }{
		{"correlate --bogus", "; see parstead correlate --help\n"},
		{"dli", "; see parstead dli --help\n"},
		{"note . --withdraws x", "; see parstead note --help\n"},
		{"compost", "; see parstead --help\n"},
		{"--bogus", "; see parstead --help\n"},
	} {
		status, _, talk := command(t, march, "", strings.Fields(c.line)...)
		if status != 2 || !strings.HasSuffix(talk, c.want) {
			t.Errorf("%s: exit status %d, %q", c.line, status, talk)
		}
	}
}

// The log tells what has happened; another machine's clock may be a little ahead.
func TestNoteAheadOfTheClock(t *testing.T) {
	t.Parallel()
	dir := rackFolder(t, march, ownBroker)
	must(t, march, "", "note", dir, "watered", "--at", march.Add(4*time.Minute).Format(time.RFC3339))
	must(t, march, "", "note", dir, "mains tested", "--kind", "mute", "--bin", "upper", "--from", march.Add(time.Hour).Format(time.RFC3339), "--until", march.Add(2*time.Hour).Format(time.RFC3339))
	status, _, talk := command(t, march, "", "note", dir, "lamp raised", "--kind", "lamp_moved", "--bin", "upper", "--at", "2026-03-05 12:00")
	if status != 2 || !strings.Contains(talk, "2026-03-05 12:00 lies ahead of this machine's clock (2026-03-04 12:00)") {
		t.Errorf("exit status %d, %q", status, talk)
	}
	if log := must(t, march, "", "note", dir); strings.Contains(log, "lamp raised") || !strings.Contains(log, "watered") {
		t.Errorf("%s", log)
	}
}

// A power cut is written with its end, as correlate asks for it, and the log
// tells stretches.
func TestNoteOfAStretch(t *testing.T) {
	t.Parallel()
	dir := rackFolder(t, march, ownBroker)
	said := must(t, march, "", "note", dir, "--kind", "power_cut", "--from", "2026-03-03 09:00", "--until", "2026-03-03 11:30")
	if want := "entry 1: power_cut from 2026-03-03 09:00 until 2026-03-03 11:30\n"; said != want {
		t.Errorf("%q, want %q", said, want)
	}
	must(t, march, "", "note", dir, "--kind", "power_cut", "--at", "2026-03-02 09:00", "--until", "2026-03-02 09:10")
	must(t, march, "", "note", dir, "glued over", "--kind", "ignore", "--sensor", "quantum", "--from", "2026-03-04 08:00")
	log := must(t, march, "", "note", dir)
	for _, want := range []string{
		"1  2026-03-03 09:00  power_cut           (from 2026-03-03 09:00 until 2026-03-03 11:30)\n",
		"2  2026-03-02 09:00  power_cut           (from 2026-03-02 09:00 until 2026-03-02 09:10)\n",
		"ignore     quantum  (from 2026-03-04 08:00 on) glued over\n",
	} {
		if !strings.Contains(log, want) {
			t.Errorf("the log lacks %q:\n%s", want, log)
		}
	}
	must(t, march, "", "note", dir, "--withdraws", "1")
	must(t, march, "", "note", dir, "--withdraws", "2")
	must(t, march, "", "note", dir, "--withdraws", "5") // the second cut stands again
	log = must(t, march, "", "note", dir)
	if strings.Count(log, "(withdrawn)") != 1 || !strings.Contains(log, "(withdrawn) (from 2026-03-03 09:00") {
		t.Errorf("%s", log)
	}
	for _, kind := range []string{"other", "lamp_moved"} {
		if status, _, talk := command(t, march, "", "note", dir, "--kind", kind, "--until", "2026-03-03 11:30"); status != 2 {
			t.Errorf("%s: exit status %d, %q", kind, status, talk)
		}
	}
	status, _, talk := command(t, march, "", "note", dir, "--kind", "power_cut", "--from", "2026-03-05 09:00")
	if status != 2 || !strings.Contains(talk, "--from: 2026-03-05 09:00 lies ahead") {
		t.Errorf("exit status %d, %q", status, talk)
	}
}

// Marks of saturation that a sensor sends in place of a measurement are named.
func TestSaturationIsRemarked(t *testing.T) {
	t.Parallel()
	dir := rackFolder(t, march, ownBroker)
	var rows strings.Builder
	rows.WriteString("time,sensor,value\n")
	for at := time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC); at.Before(march); at = at.Add(time.Minute) {
		value := 100 + float64(at.Minute()%7)
		switch {
		case at.Hour() < 7 || at.Hour() >= 21:
			value = 0
		case at.Day() == 3 && at.Hour() == 10 && at.Minute() < 5:
			value = 65535
		case at.Day() == 3 && at.Hour() == 11 && at.Minute() == 30:
			value = 4000
		}
		fmt.Fprintf(&rows, "%s,quantum,%g\n", at.Format(time.RFC3339), value)
	}
	must(t, march, rows.String(), "import", dir, "-")
	_, _, talk := command(t, march, "", "dli", dir)
	for _, want := range []string{
		"Sensor quantum of bin upper: 5 readings from 2026-03-03 10:00 until 2026-03-03 10:04 are marks of saturation (−1, 65535 or a lux chip's ceiling) and enter no figure: look for a loose cable, or a range that is too small for this light",
		"Sensor quantum of bin upper: the reading of 2026-03-03 11:30 lies outside what is valid and enters no figure",
	} {
		if !strings.Contains(talk, want) {
			t.Errorf("no %q in\n%s", want, talk)
		}
	}
}
