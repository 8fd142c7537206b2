package report

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"html"
	"image/color"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"unicode"

	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// picture is one picture in all its forms, made from the same data.
type picture struct {
	file    string // without extension
	title   string
	of      int    // index of the outcome's result; rackWide for those of the rack
	caption string // how to read it
	alt     string // what it shows, for those who don't see it
	table   [][]string
	draw    func(pen)
}

// rackWide marks pictures that are of no single outcome.
const (
	rackWide    = -1
	allOutcomes = -2
)

// write makes the picture's files.
func (q *picture) write(dir string) error {
	image, err := q.png()
	if err != nil {
		return fmt.Errorf("%s: %w", q.file, err)
	}
	drawn, err := q.svg()
	if err != nil {
		return fmt.Errorf("%s: %w", q.file, err)
	}
	table, err := q.csv()
	if err != nil {
		return fmt.Errorf("%s: %w", q.file, err)
	}
	for ending, content := range map[string][]byte{".png": image, ".svg": append([]byte(xmlHead), drawn...), ".csv": table} {
		if err := os.WriteFile(filepath.Join(dir, q.file+ending), content, 0o666); err != nil { //nolint:gosec // a report is for anyone to read
			return err
		}
	}
	return nil
}

const xmlHead = `<?xml version="1.0" encoding="UTF-8"?>` + "\n"

// png is the picture in pixels.
func (q *picture) png() ([]byte, error) {
	canvas := vgimg.PngCanvas{Canvas: vgimg.NewWith(vgimg.UseWH(width, height), vgimg.UseDPI(72), vgimg.UseBackgroundColor(color.White))}
	q.draw(pen{canvas})
	var out bytes.Buffer
	_, err := canvas.WriteTo(&out)
	return out.Bytes(), err
}

// svg is the picture as one SVG element, with its title and its alternative text
// for readers of the screen. Every text keeps the width that it was laid out with,
// whatever font a reader has.
func (q *picture) svg() ([]byte, error) {
	canvas := vgsvg.New(width, height)
	pen{canvas}.fill(box(0, 0, width, height), paper)
	q.draw(pen{canvas})
	var out bytes.Buffer
	if _, err := canvas.WriteTo(&out); err != nil {
		return nil, err
	}
	_, rest, ok := bytes.Cut(out.Bytes(), []byte("<svg"))
	if ok {
		_, rest, ok = bytes.Cut(rest, []byte(">"))
	}
	if !ok {
		return nil, fmt.Errorf("the drawing has no beginning")
	}
	head := fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="img" aria-labelledby="%[3]s-t %[3]s-d"><title id="%[3]s-t">%[4]s</title><desc id="%[3]s-d">%[5]s</desc>`,
		width, height, q.file, html.EscapeString(q.title), html.EscapeString(q.alt))
	return append([]byte(head), texts.ReplaceAllFunc(rest, keepWidth)...), nil
}

// texts are the texts of a drawing: place, weight, size, colour, words.
var texts = regexp.MustCompile(`<text x="([^"]*)" y="([^"]*)" transform="scale\(1, -1\)"\s+style="font-family:Liberation Sans;font-variant:[a-z]*;font-weight:(normal|bold);font-style:normal;font-size:([0-9.]+)px(;fill:[^"]*)?">([^<]*)</text>`)

// keepWidth writes a text with its width, and with fonts to fall back on.
func keepWidth(text []byte) []byte {
	part := texts.FindSubmatch(text)
	size, err := strconv.ParseFloat(string(part[4]), 64)
	if err != nil {
		return text
	}
	bold, weight := string(part[3]) == "bold", ""
	if bold {
		weight = ";font-weight:bold"
	}
	f := face(size, bold)
	return fmt.Appendf(nil, `<text x="%s" y="%s" xml:space="preserve" transform="scale(1,-1)" textLength="%.1f" lengthAdjust="spacingAndGlyphs" style="font-family:Liberation Sans,Arial,Helvetica,sans-serif%s;font-size:%spx%s">%s</text>`,
		part[1], part[2], float64(f.Width(html.UnescapeString(string(part[6])))), weight, part[4], part[5], part[6])
}

// csv is what the picture shows.
func (q *picture) csv() ([]byte, error) {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	err := w.WriteAll(q.table) // flushes
	return out.Bytes(), err
}

// fileNames hands out names of files, each once.
type fileNames map[string]bool

// of makes a file's name of words.
func (f fileNames) of(words ...string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(strings.Join(words, "-")) {
		switch {
		case unicode.IsLetter(r), unicode.IsDigit(r), r == '_':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	stem := []rune(strings.Trim(b.String(), "-"))
	stem = stem[:min(len(stem), 60)]
	name := string(stem)
	for n := 2; f[name]; n++ {
		name = string(stem) + "-" + strconv.Itoa(n)
	}
	f[name] = true
	return name
}

// page words which of several pictures one is; "" where it is alone.
func pageOf(i, n int) string {
	if n < 2 {
		return ""
	}
	return fmt.Sprintf(" (%d of %d)", i+1, n)
}
