package report

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"html"
	"image"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"unicode"

	"git.sr.ht/~sbinet/gg"
	"golang.org/x/sync/errgroup"
	"gonum.org/v1/plot/vg/vgimg"
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
	main    bool // one of those that an outcome's story is told by
}

// rackWide marks pictures that are of no single outcome.
const (
	rackWide    = -1
	allOutcomes = -2
	firstOfAll  = -3
)

// writeAll makes a folder with the files of all the pictures; others of its callers'
// tasks run meanwhile.
func writeAll(dir string, list []picture, others ...func() error) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return fmt.Errorf("make the folder of pictures: %w", err)
	}
	var tasks errgroup.Group
	tasks.SetLimit(runtime.GOMAXPROCS(0))
	for i := range list {
		tasks.Go(func() error { return list[i].write(dir) })
	}
	for _, other := range others {
		tasks.Go(other)
	}
	return tasks.Wait()
}

// write makes the picture's files.
func (q *picture) write(dir string) error {
	image, err := q.png()
	if err != nil {
		return fmt.Errorf("draw %s: %w", q.file, err)
	}
	table, err := q.csv()
	if err != nil {
		return fmt.Errorf("write the numbers of %s: %w", q.file, err)
	}
	for ending, content := range map[string][]byte{".png": image, ".svg": append([]byte(xmlHead), q.svg(false)...), ".csv": table} {
		if err := os.WriteFile(filepath.Join(dir, q.file+ending), content, 0o666); err != nil { //nolint:gosec // a report is for anyone to read
			return fmt.Errorf("write a picture: %w", err)
		}
	}
	return nil
}

const xmlHead = `<?xml version="1.0" encoding="UTF-8"?>` + "\n"

// sheets are images to draw on, eight megabytes each, for one picture after another.
var sheets = sync.Pool{New: func() any { return image.NewRGBA(image.Rect(0, 0, width, height)) }}

// png is the picture in pixels.
func (q *picture) png() ([]byte, error) {
	pixels := sheets.Get().(*image.RGBA) //nolint:forcetypeassert // nothing else is put there
	defer sheets.Put(pixels)
	on := gg.NewContextForRGBA(pixels)
	on.SetLineCapButt()
	on.InvertY()
	q.draw(pen{vgimg.NewWith(vgimg.UseImageWithContext(pixels, on), vgimg.UseDPI(72))}) // on white
	var out bytes.Buffer
	err := writePNG(&out, pixels)
	return out.Bytes(), err
}

// svg is the picture as one SVG element, with its title and its alternative text
// for readers of the screen; on a page in the page's colours.
func (q *picture) svg(page bool) []byte {
	canvas := newDrawing(fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="img" aria-labelledby="%[3]s-t %[3]s-d"><title id="%[3]s-t">%[4]s</title><desc id="%[3]s-d">%[5]s</desc>`+"\n",
		width, height, q.file, html.EscapeString(q.title), html.EscapeString(q.alt)), page)
	pen{canvas}.fill(box(0, 0, width, height), paper)
	q.draw(pen{canvas})
	return canvas.end()
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

// pageOf words which of several pictures one is; "" where it is alone.
func pageOf(i, n int) string {
	if n < 2 {
		return ""
	}
	return fmt.Sprintf(" (%d of %d)", i+1, n)
}
