package trial

import (
	"bytes"
	"fmt"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// keyIndex finds where the keys, tables and list elements of a TOML text stand:
// the byte offset by path, such as sensor[2].valid[0].
func keyIndex(text []byte) map[string]int {
	index := map[string]int{}
	elements := map[string]int{} // how many tables an array of tables has so far
	var parser unstable.Parser
	parser.Reset(bytes.Clone(text))

	// resolve walks a dotted key down from a path. A part that names an array of
	// tables means its last element.
	resolve := func(path string, keys unstable.Iterator) (string, int) {
		offset := 0
		for keys.Next() {
			if n := elements[path]; n > 0 {
				path = fmt.Sprintf("%s[%d]", path, n-1)
			}
			key := keys.Node()
			offset = int(key.Raw.Offset)
			path = join(path, string(key.Data))
			if _, seen := index[path]; !seen {
				index[path] = offset
			}
		}
		return path, offset
	}
	var value func(path string, node *unstable.Node)
	value = func(path string, node *unstable.Node) {
		switch node.Kind {
		case unstable.Array:
			children := node.Children()
			for i := 0; children.Next(); i++ {
				element := fmt.Sprintf("%s[%d]", path, i)
				if raw := children.Node().Raw; raw.Length > 0 {
					index[element] = int(raw.Offset)
				}
				value(element, children.Node())
			}
		case unstable.InlineTable:
			children := node.Children()
			for children.Next() {
				inner, _ := resolve(path, children.Node().Key())
				value(inner, children.Node().Value())
			}
		}
	}
	table := ""
	for parser.NextExpression() {
		switch e := parser.Expression(); e.Kind {
		case unstable.Table:
			table, _ = resolve("", e.Key())
		case unstable.ArrayTable:
			path, offset := resolve("", e.Key())
			table = fmt.Sprintf("%s[%d]", path, elements[path])
			elements[path]++
			index[table] = offset
		case unstable.KeyValue:
			path, _ := resolve(table, e.Key())
			value(path, e.Value())
		}
	}
	return index
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// parent is the path one step up: of valid[0], valid; of sensor[2].valid,
// sensor[2].
func parent(path string) string {
	return path[:max(strings.LastIndexAny(path, ".["), 0)]
}
