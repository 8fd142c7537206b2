package trial

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"parstead/cmd/parstead/cells"

	"github.com/pelletier/go-toml/v2"
)

// document is a TOML file whose values can be asked for one by one, each
// complaint with its line and column.
type document struct {
	*problems
	file  string
	lines cells.Lines
	index map[string]int
}

// parseDocument reads a TOML text. ok is false if it is no TOML.
func parseDocument(file string, text []byte, p *problems) (d *document, root *table, ok bool) {
	text, err := cells.Plain(text)
	if err != nil {
		p.unreadable(file, err)
		return nil, nil, false
	}
	d = &document{problems: p, file: file}
	values := map[string]any{}
	for range mostSlips {
		d.lines = cells.LinesOf(text)
		clear(values)
		err := toml.Unmarshal(text, &values)
		if err == nil {
			d.index = keyIndex(text)
			return d, &table{doc: d, values: values}, true
		}
		if text, ok = d.mendSlip(text, err); !ok {
			break
		}
	}
	return nil, nil, false
}

// mostSlips bounds how many lines that are no TOML are told.
const mostSlips = 100

// mendSlip tells of a line that is no TOML and puts what was meant in its place, so
// that the lines below it can be read too. ok is false where nobody can tell what was
// meant: then only what is beyond doubt is told of the lines below.
func (d *document) mendSlip(text []byte, err error) (mended []byte, ok bool) {
	at := place{d.file, 1, 1}
	if broken, is := errors.AsType[*toml.DecodeError](err); is {
		at.line, at.column = broken.Position()
		at.line = max(at.line, 1)
		at.column = d.lines.Column(at.line, max(at.column, 1))
	}
	lines := strings.Split(string(text), "\n")
	line := lines[min(at.line, len(lines))-1]
	says := strings.TrimPrefix(err.Error(), "toml: ")
	s, known := slipOf(strings.TrimSuffix(line, "\r"))
	switch {
	case strings.HasSuffix(says, "is already defined"):
		s = slip{says, "keep one of the two", "# " + line}
	case strings.HasSuffix(says, "already exists"):
		s = slip{says: says, mend: "put the lines of both under one heading; for several of a kind write [[double brackets]]"}
	case known:
	case strings.Contains(says, "after array value"):
		s = slip{says: "a list that begins here or above is not closed, or lacks a comma", mend: "write it like [1.5, 2.0]"}
	default:
		s = slip{says: "this is not TOML: " + says, mend: `correct the line: key = value, texts in "quotes", each key once, tables in [brackets]`}
	}
	d.fault(at, s.says, s.mend)
	if s.fixed != "" && s.fixed != line {
		lines[at.line-1] = s.fixed
		return []byte(strings.Join(lines, "\n")), true
	}
	for i, line := range lines[min(at.line, len(lines)):] {
		m := assigned.FindStringSubmatch(uncommented(strings.TrimSuffix(line, "\r")))
		if m == nil || m[2] != "=" {
			continue
		}
		if _, isDate, _ := datesSlip(m[3]); isDate != "" && !isoDate.MatchString(m[3]) || cells.IsCommaNumber(m[3]) {
			s, _ := slipOf(line)
			d.fault(place{d.file, at.line + i + 1, 1}, s.says, s.mend)
		}
	}
	return nil, false
}

var isoDate = regexp.MustCompile(`^\d{4}-\d{2}-\d{2}$`)

// at is the place of a path, or of the nearest thing around it that has one.
func (d *document) at(format string, args ...any) place {
	for path := fmt.Sprintf(format, args...); path != ""; path = parent(path) {
		if offset, ok := d.index[path]; ok {
			line, column := d.lines.Position(offset)
			return place{d.file, line, column}
		}
	}
	return place{d.file, 1, 1}
}

// table is one table of a document. Asking for a key is what makes it known:
// whatever was never asked for is a mistake.
type table struct {
	doc    *document
	path   string
	values map[string]any
	known  []string
}

// at is where a key of the table stands; of "" the table itself.
func (t *table) at(key string) place {
	if key == "" {
		return t.doc.at("%s", t.path)
	}
	return t.doc.at("%s", join(t.path, key))
}

func (t *table) fault(key, says, mend string) { t.doc.fault(t.at(key), says, mend) }
func (t *table) warn(key, says, mend string)  { t.doc.warn(t.at(key), says, mend) }

// has tells whether the key is there, right or wrong.
func (t *table) has(key string) bool {
	_, ok := t.values[key]
	return ok
}

// title names the table as its heading does.
func (t *table) title() string {
	name, _, list := strings.Cut(t.path, "[")
	switch {
	case name == "":
		return "trial.toml"
	case list:
		return "[[" + name + "]]"
	default:
		return "[" + name + "]"
	}
}

// need complains of keys that are absent. The keys are then known.
func (t *table) need(keys ...string) {
	for _, key := range keys {
		if !t.has(key) {
			t.fault("", fmt.Sprintf("%s has no %s", t.title(), key), fmt.Sprintf("add %s = ...", key))
		}
	}
}

// finish complains of keys that nobody asked for.
func (t *table) finish() {
	for key := range t.values {
		if slices.Contains(t.known, key) {
			continue
		}
		mend := meant(key, t.known, "write %s, or remove it", "remove it, or correct its name; known here: "+strings.Join(t.known, ", "))
		t.fault(key, fmt.Sprintf("%s knows no key %q", t.title(), key), mend)
	}
}

// table is the table under a key. It is empty, with present false, if the key
// is absent or is no table.
func (t *table) table(key string) (inner *table, present bool) {
	t.known = append(t.known, key)
	inner = &table{doc: t.doc, path: join(t.path, key)}
	switch v := t.values[key].(type) {
	case nil:
		return inner, false
	case map[string]any:
		inner.values = v
		return inner, true
	case []any:
		t.fault(key, key+" is a list, where one table is due", fmt.Sprintf("write [%s], once", key))
	default:
		t.fault(key, key+" is "+kindOf(v)+", where a table is due", fmt.Sprintf("write [%s]", key))
	}
	return inner, false
}

// tables lists the tables under a key that may be repeated.
func (t *table) tables(key string) []*table {
	t.known = append(t.known, key)
	mend := fmt.Sprintf("write [[%s]] above each", key)
	switch v := t.values[key].(type) {
	case nil:
	case []any:
		var list []*table
		for i, element := range v {
			path := fmt.Sprintf("%s[%d]", join(t.path, key), i)
			values, ok := element.(map[string]any)
			if !ok {
				t.doc.fault(t.doc.at("%s", path), fmt.Sprintf("%s holds %s, where tables are due", key, kindOf(element)), mend)
				continue
			}
			list = append(list, &table{doc: t.doc, path: path, values: values})
		}
		return list
	default:
		t.fault(key, key+" is "+kindOf(v)+", where a list of tables is due", mend)
	}
	return nil
}
