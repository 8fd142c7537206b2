package trial

import (
	"errors"
	"fmt"
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
	d = &document{problems: p, file: file, lines: cells.LinesOf(text)}
	values := map[string]any{}
	if err := toml.Unmarshal(text, &values); err != nil {
		at := place{file, 1, 1}
		if broken, ok := errors.AsType[*toml.DecodeError](err); ok {
			at.line, at.column = broken.Position()
			at.line = max(at.line, 1)
			at.column = d.lines.Column(at.line, max(at.column, 1))
		}
		p.fault(at, "this is not TOML: "+strings.TrimPrefix(err.Error(), "toml: "),
			`correct the line: key = value, texts in "quotes", each key once, tables in [brackets]`)
		return nil, nil, false
	}
	d.index = keyIndex(text)
	return d, &table{doc: d, values: values}, true
}

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
