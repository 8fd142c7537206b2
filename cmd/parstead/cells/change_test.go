package cells

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// The same changes leave the same cells in a text and in a workbook.
func TestChanges(t *testing.T) {
	t.Parallel()
	for file, data := range map[string][]byte{
		"harvest.csv": []byte("\ufeffplant;leaves\r\nP01;5,5\r\n\r\nP02;6\r\n"),
		"harvest.xlsx": written(t, "", `<row r="1"><c r="A1" t="s"><v>0</v></c><c r="B1" t="s"><v>1</v></c></row>
			<row r="2"><c r="A2" t="s"><v>2</v></c><c r="B2"><v>5.5</v></c></row>
			<row r="4"><c r="A4" t="inlineStr"><is><t>P02</t></is></c><c r="B4"><v>6</v></c></row>`),
	} {
		draft, err := Change(file, data)
		if err != nil {
			t.Fatal(err)
		}
		for i, err := range []error{
			draft.AddHeading("cause"),
			draft.Set(1, 1, Value{Text: "7.5", Number: true}),
			draft.AddRow([]Value{{Text: "P03"}, {}, {Text: `rot; "wet"`}}),
			draft.Set(2, 2, Value{Text: "pest"}),
			draft.DropRow(1),
			draft.AddRow([]Value{{Text: "P04"}, {Text: "0.5", Number: true}, {}}),
		} {
			if err != nil {
				t.Errorf("%s: change %d: %v", file, i, err)
			}
		}
		changed, err := draft.Bytes()
		if err = errors.Join(err, draft.Close()); err != nil {
			t.Fatal(err)
		}
		half := "0.5"
		if file == "harvest.csv" {
			half = "0,5"
			const want = "\ufeffplant;leaves;cause\r\n\r\nP02;6;pest\r\nP03;;\"rot; \"\"wet\"\"\"\r\nP04;0,5;\r\n"
			if d := cmp.Diff(want, string(changed)); d != "" {
				t.Error(d)
			}
		}
		read, err := Read(file, changed)
		if err != nil {
			t.Fatal(err)
		}
		var got [][]string
		for _, row := range read.Rows {
			var texts []string
			for _, c := range row {
				texts = append(texts, c.Text)
			}
			for len(texts) > 0 && texts[len(texts)-1] == "" {
				texts = texts[:len(texts)-1]
			}
			if len(texts) > 0 {
				got = append(got, texts)
			}
		}
		want := [][]string{{"plant", "leaves", "cause"}, {"P02", "6", "pest"}, {"P03", "", `rot; "wet"`}, {"P04", half}}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%s: %s", file, d)
		}
	}
}

// A sheet that is begun is written as one that is there; old line ends come back.
func TestBegunAndOldTexts(t *testing.T) {
	t.Parallel()
	old, err := OpenText([]byte("plant\tstart_g\rP01\t1,5\r"))
	if err != nil {
		t.Fatal(err)
	}
	if err := old.Set(1, 1, Value{Text: "2.5", Number: true}); err != nil {
		t.Fatal(err)
	}
	if data, err := old.Bytes(); string(data) != "plant\tstart_g\rP01\t2,5\r" || err != nil {
		t.Errorf("%q %v", data, err)
	}
	for want, like := range map[string]*Text{"time\tvalue\rnow\t1,5\r": old, "time,value\nnow,1.5\n": nil} {
		begun, err := NewText(like, []string{"time", "value"})
		if err != nil {
			t.Fatal(err)
		}
		if err := begun.AddRow([]Value{{Text: "now"}, {Text: "1.5", Number: true}}); err != nil {
			t.Fatal(err)
		}
		if data, err := begun.Bytes(); string(data) != want || err != nil {
			t.Errorf("%q %v, want %q", data, err, want)
		}
	}
}

// What can't be read is told with its place, in characters, and a mend.
func TestUnreadableTexts(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]Fault{
		"\xff\xfep\x00":             {1, 1, "the file is not UTF-8 but UTF-16, or no text at all", "save the file again, with the encoding UTF-8"},
		"plant\nBäume,\xe4\n":       {2, 7, "the file is not UTF-8: a letter is written in another encoding", "save the file again, with the encoding UTF-8"},
		"plant,x\nä\"b,1\n":         {2, 2, "a quotation mark stands alone", `put it twice ("") inside a quoted cell, or remove it`},
		"plant,x\n\"P01,1\nP02,2\n": {2, 1, "a quotation mark opens a cell that nothing closes", "close the cell with another, or remove the mark"},
	} {
		_, err := Read("plants.csv", []byte(text))
		fault, ok := errors.AsType[*Fault](err)
		if !ok || *fault != want {
			t.Errorf("%q: %+v, want %+v", text, err, want)
		}
	}
}

// The heading tells what separates: its commas may be within quotes.
func TestSeparators(t *testing.T) {
	t.Parallel()
	for text, comma := range map[string]bool{
		"plant;start_g\nP,Q,R;1\n": true, "plant\tstart_g\nP01\t1\n": true, "plant,start_g\nP;;;,1\n": false,
		"\"a,b,c\";start_g\nP01;1\n": true, "\n\nplant;start_g\nP01;1\n": true, "plant\nP01\n": false,
	} {
		s, err := Read("plants.csv", []byte(text))
		if err != nil || s.DecimalComma != comma {
			t.Errorf("%q: %+v %v", text, s, err)
		}
	}
}
