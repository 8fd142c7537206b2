package cells

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"path"
	"strings"
)

// packed is a workbook's file: parts of XML in an archive, as ECMA-376 part 2
// describes it. A part is read element by element and never unfolded as a whole.
type packed map[string]*zip.File

// unpack lists the parts of a file.
func unpack(data []byte) (packed, error) {
	archive, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, err
	}
	parts := packed{}
	for _, f := range archive.File {
		parts[strings.TrimPrefix(strings.ReplaceAll(f.Name, `\`, "/"), "/")] = f
	}
	return parts, nil
}

// relation is one line of what a part rests on (ECMA-376 part 2, 9.3).
type relation struct {
	ID     string `xml:"Id,attr"`
	Type   string `xml:"Type,attr"`
	Target string `xml:"Target,attr"`
}

// relations lists what a part rests on; "" is the file itself.
func (p packed) relations(part string) (list []relation, err error) {
	folder, name := path.Split(part)
	err = p.each(path.Join(folder, "_rels", name+".rels"), func(e xml.StartElement, read func(any) error) error {
		if e.Name.Local != "Relationship" {
			return nil
		}
		var r relation
		err := read(&r)
		if target, absolute := strings.CutPrefix(r.Target, "/"); absolute {
			r.Target = target
		} else {
			r.Target = path.Join(folder, r.Target)
		}
		list = append(list, r)
		return err
	})
	return list, err
}

// deepest is how far the elements of a part may lie within one another.
const deepest = 64

// each hands the elements of a part on as they come, with a way to read one to its
// end; what lies in it is then not handed on.
func (p packed) each(part string, f func(e xml.StartElement, read func(into any) error) error) error {
	file := p[part]
	if file == nil {
		return fmt.Errorf("it has no part %s", part)
	}
	r, err := file.Open()
	if err != nil {
		return fmt.Errorf("its part %s: %w", part, err)
	}
	defer r.Close() //nolint:errcheck // it was only read
	d := xml.NewDecoder(&unfolding{r, MostBytes})
	depth := 0
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("its part %s: %w", part, err)
		}
		switch e := token.(type) {
		case xml.EndElement:
			depth--
		case xml.StartElement:
			depth++
			read := func(into any) error {
				depth-- // its end is read too
				return d.DecodeElement(into, &e)
			}
			if err := f(e, read); err != nil {
				return err
			}
			if depth > deepest {
				return fmt.Errorf("its part %s: elements lie within one another more than %d deep", part, deepest)
			}
		}
	}
}

// unfolding is a part being unpacked, which may have so many bytes yet.
type unfolding struct {
	io.Reader
	left int64
}

var errUnfolds = fmt.Errorf("it unpacks to more than %d MB", MostBytes>>20)

func (u *unfolding) Read(b []byte) (int, error) {
	n, err := u.Reader.Read(b)
	if u.left -= int64(n); u.left < 0 {
		return 0, errUnfolds
	}
	return n, err
}

func attribute(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}
