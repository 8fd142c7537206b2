package cells

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/xuri/excelize/v2"
)

const (
	mainSpace  = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
	linkSpace  = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
	partsSpace = "http://schemas.openxmlformats.org/package/2006/"
)

// written is a workbook as ECMA-376 part 1 describes it, made without the library
// that reads it. Its number formats: 1 a date, 2 a date and time of a format of its
// own, 3 scientific, 4 text, 5 a number with words, 6 hours past a day.
func written(tb testing.TB, properties, firstSheet string) []byte {
	tb.Helper()
	parts := map[string]string{
		"[Content_Types].xml": `<Types xmlns="` + partsSpace + `content-types">
			<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="xml" ContentType="application/xml"/>
			<Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>
			<Override PartName="/xl/worksheets/sheet1.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/>
			<Override PartName="/xl/worksheets/sheet2.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/>
			<Override PartName="/xl/styles.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.styles+xml"/>
			<Override PartName="/xl/sharedStrings.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"/></Types>`,
		"_rels/.rels": `<Relationships xmlns="` + partsSpace + `relationships"><Relationship Id="rId1" Type="` + linkSpace + `/officeDocument" Target="xl/workbook.xml"/></Relationships>`,
		"xl/_rels/workbook.xml.rels": `<Relationships xmlns="` + partsSpace + `relationships">
			<Relationship Id="rId1" Type="` + linkSpace + `/worksheet" Target="worksheets/sheet1.xml"/>
			<Relationship Id="rId2" Type="` + linkSpace + `/worksheet" Target="worksheets/sheet2.xml"/>
			<Relationship Id="rId3" Type="` + linkSpace + `/styles" Target="styles.xml"/>
			<Relationship Id="rId4" Type="` + linkSpace + `/sharedStrings" Target="sharedStrings.xml"/></Relationships>`,
		"xl/workbook.xml": `<workbook xmlns="` + mainSpace + `" xmlns:r="` + linkSpace + `"><workbookPr` + properties + `/>
			<sheets><sheet name="plants" sheetId="1" r:id="rId1"/><sheet name="notes" sheetId="2" r:id="rId2"/></sheets></workbook>`,
		"xl/styles.xml": `<styleSheet xmlns="` + mainSpace + `"><numFmts count="3"><numFmt numFmtId="164" formatCode="dd\.mm\.yyyy hh:mm"/>
			<numFmt numFmtId="165" formatCode="0.0&quot; mm a day&quot;"/><numFmt numFmtId="166" formatCode="[h]:mm"/></numFmts>
			<fonts count="1"><font/></fonts><fills count="1"><fill/></fills><borders count="1"><border/></borders><cellStyleXfs count="1"><xf/></cellStyleXfs>
			<cellXfs count="7"><xf numFmtId="0"/><xf numFmtId="14" applyNumberFormat="1"/><xf numFmtId="164" applyNumberFormat="1"/><xf numFmtId="11" applyNumberFormat="1"/>
			<xf numFmtId="49" applyNumberFormat="1"/><xf numFmtId="165" applyNumberFormat="1"/><xf numFmtId="166" applyNumberFormat="1"/></cellXfs></styleSheet>`,
		"xl/sharedStrings.xml": `<sst xmlns="` + mainSpace + `" count="3" uniqueCount="3"><si><t>plant</t></si>
			<si><r><t>le</t></r><r><t>aves</t></r></si><si><t xml:space="preserve"> P01 </t></si></sst>`,
		"xl/worksheets/sheet1.xml": `<worksheet xmlns="` + mainSpace + `"><sheetData>` + firstSheet + `</sheetData></worksheet>`,
		"xl/worksheets/sheet2.xml": `<worksheet xmlns="` + mainSpace + `"><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>mine</t></is></c></row></sheetData></worksheet>`,
	}
	var file bytes.Buffer
	pack := zip.NewWriter(&file)
	for _, name := range slices.Sorted(maps.Keys(parts)) {
		w, err := pack.Create(name)
		if err == nil {
			_, err = fmt.Fprint(w, `<?xml version="1.0" encoding="UTF-8"?>`, parts[name])
		}
		if err != nil {
			tb.Fatal(err)
		}
	}
	if err := pack.Close(); err != nil {
		tb.Fatal(err)
	}
	return file.Bytes()
}

// Whatever a grower's workbook holds is read as its .csv would be. Of several
// sheets it is the first.
func TestWorkbook(t *testing.T) {
	t.Parallel()
	got, err := Read("plants.xlsx", written(t, "", `
		<row r="1"><c r="A1" t="s"><v>0</v></c><c r="B1" t="s"><v>1</v></c><c r="C1" t="inlineStr"><is><t>rooted</t></is></c></row>
		<row r="2"><c r="A2" t="s"><v>2</v></c><c r="B2"><v>0.1</v></c><c r="C2" t="b"><v>1</v></c><c r="D2" t="b"><v>0</v></c></row>
		<row r="4"><c r="B4"><f>SUM(B2:B3)</f><v>1.25</v></c><c r="C4" t="str"><f>A2&amp;"b"</f><v>P01b</v></c><c r="D4" t="e"><f>1/0</f><v>#DIV/0!</v></c><c r="E4"><f>TODAY()</f></c></row>
		<row r="5"><c r="A5" s="4" t="inlineStr"><is><t>1E5</t></is></c><c r="B5" s="3"><v>100000</v></c><c r="C5" s="5"><v>2.5</v></c><c r="D5" s="1"/></row>`))
	if err != nil {
		t.Fatal(err)
	}
	want := [][]Cell{
		{{Text: "plant"}, {Text: "leaves"}, {Text: "rooted"}},
		{{Text: "P01"}, {Text: "0.1"}, {Text: "TRUE"}, {Text: "FALSE"}},
		nil,
		{{}, {Text: "1.25"}, {Text: "P01b"}, {Text: "#DIV/0!"}, {Unknown: true}},
		{{Text: "1E5"}, {Text: "100000", Turn: Exponent}, {Text: "2.5"}},
	}
	if d := cmp.Diff(want, got.Rows, cmpopts.IgnoreFields(Cell{}, "Line", "Column")); d != "" {
		t.Error(d)
	}
	if !got.Workbook || got.DecimalComma {
		t.Errorf("%+v", got)
	}
	for i, row := range got.Rows {
		for j, c := range row {
			if c.Line != i+1 || c.Column != j+1 {
				t.Errorf("%+v is said to stand in line %d, column %d", c, c.Line, c.Column)
			}
		}
	}
}

// Days count from 1900 or from 1904 (ECMA-376 part 1, 18.17.4.1): 46023 and 44561
// are 1 January 2026, half a day is noon.
func TestDates(t *testing.T) {
	t.Parallel()
	for properties, day := range map[string]int{"": 46023, ` date1904="1"`: 44561} {
		got, err := Read("plants.xlsx", written(t, properties, fmt.Sprintf(`<row r="1"><c r="A1" s="1"><v>%d</v></c><c r="B1" s="2"><v>%[1]d.5</v></c><c r="C1"><v>%[1]d</v></c>
			<c r="D1" s="1" t="d"><v>2026-01-01T12:00:00Z</v></c><c r="E1" t="d"><v>noon</v></c></row><row r="2"><c r="A2" s="6"><v>1.25</v></c></row>`, day)))
		if err != nil {
			t.Fatal(err)
		}
		want := []Cell{
			{Text: "2026-01-01", Turn: Date},
			{Text: "2026-01-01 12:00:00", Turn: Date},
			{Text: fmt.Sprint(day)},
			{Text: "2026-01-01 12:00:00", Turn: Date},
			{Text: "noon", Turn: Date},
		}
		if d := cmp.Diff(want, got.Rows[0], cmpopts.IgnoreFields(Cell{}, "Line", "Column")); d != "" {
			t.Errorf("%q: %s", properties, d)
		}
		if got := got.Rows[1][0].Turn; got != Date {
			t.Errorf("hours are taken for %q", got)
		}
	}
}

func TestNoWorkbook(t *testing.T) {
	t.Parallel()
	for name, data := range map[string][]byte{"text": []byte("plant,start_g\n"), "nothing": nil, "half": written(t, "", "")[:400]} {
		_, err := Read("plants.xlsx", data)
		fault, ok := errors.AsType[*Fault](err)
		if !ok || fault.Line != 1 || !strings.HasPrefix(fault.Says, "the file is no workbook that can be read") || !strings.Contains(fault.Error(), "without a password") {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := Change("plants.xlsx", data); !errors.Is(err, ErrNoWorkbook) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// What is changed in a workbook leaves its formulas, its formats and its other sheets.
func TestChangedWorkbook(t *testing.T) {
	t.Parallel()
	draft, err := Change("plants.xlsx", written(t, "", `<row r="1"><c r="A1" t="s"><v>0</v></c><c r="B1" t="s"><v>1</v></c></row>
		<row r="3"><c r="A3" t="s"><v>2</v></c><c r="B3" s="3"><v>5</v></c><c r="C3"><f>B3*2</f><v>10</v></c></row>`))
	if err != nil {
		t.Fatal(err)
	}
	if err := draft.Set(1, 2, Value{Text: "7", Number: true}); !errors.Is(err, ErrFormula) || !strings.Contains(err.Error(), "cell C3") {
		t.Error(err)
	}
	if err := draft.Set(1, 1, Value{Text: "7", Number: true}); err != nil {
		t.Error(err)
	}
	if err := draft.Set(1, 1, Value{Text: "seven", Number: true}); err == nil {
		t.Error("a text was written as a number")
	}
	data, err := draft.Bytes()
	if err = errors.Join(err, draft.Close()); err != nil {
		t.Fatal(err)
	}
	book, err := excelize.OpenReader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close() //nolint:errcheck // it was only read
	formula, err := book.GetCellFormula("plants", "C3")
	note, err2 := book.GetCellValue("notes", "A1")
	shown, err3 := book.GetCellValue("plants", "B3")
	if formula != "B3*2" || note != "mine" || shown != "7.00E+00" || errors.Join(err, err2, err3) != nil {
		t.Errorf("formula %q, note %q, shown %q", formula, note, shown)
	}
}
