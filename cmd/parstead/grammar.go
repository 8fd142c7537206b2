package main

import (
	"reflect"
	"strings"
)

// grammar is the one command that a command line names, or else all of them:
// to make a parser of all takes a tenth of the time of a season's light.
func grammar(args []string) any {
	all := reflect.TypeFor[commands]()
	version, _ := all.FieldByName("Version")
	for field := range all.Fields() {
		name := field.Tag.Get("name")
		if name == "" {
			name = strings.ToLower(field.Name)
		}
		if _, command := field.Tag.Lookup("cmd"); command && len(args) > 0 && args[0] == name {
			return reflect.New(reflect.StructOf([]reflect.StructField{field, version})).Interface()
		}
	}
	return new(commands)
}
