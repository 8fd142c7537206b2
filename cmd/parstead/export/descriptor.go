package export

import (
	"bufio"
	"context"
	"encoding/json"
	"os"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"time"
	"unicode"

	"parstead/cmd/parstead/atomicfile"
	"parstead/cmd/parstead/photo"
	"parstead/cmd/parstead/version"
	"parstead/light"
)

// Descriptor is the file that says what an export holds, as the Data Package standard
// (version 1) has it.
const Descriptor = "datapackage.json"

// dataPackage is that file. What the standard has no word for stands under parstead,
// and in a field's unit, source and name_in_trial.
type dataPackage struct {
	Profile     string     `json:"profile"`
	Name        string     `json:"name"`
	Title       string     `json:"title"`
	Description string     `json:"description"`
	Created     string     `json:"created"`
	Resources   []resource `json:"resources"`
	Parstead    about      `json:"parstead"`
}

type resource struct {
	Profile     string       `json:"profile"`
	Name        string       `json:"name"`
	Path        string       `json:"path"`
	Description string       `json:"description,omitempty"`
	Format      string       `json:"format"`
	MediaType   string       `json:"mediatype"`
	Encoding    string       `json:"encoding,omitempty"`
	Bytes       int64        `json:"bytes"`
	Rows        *int         `json:"rows,omitempty"`
	Schema      *tableSchema `json:"schema,omitempty"`
}

type tableSchema struct {
	Fields        []schemaField `json:"fields"`
	MissingValues []string      `json:"missingValues"`
}

type schemaField struct {
	Name        string   `json:"name"`
	Type        string   `json:"type"`
	Format      string   `json:"format,omitempty"`
	TrueValues  []string `json:"trueValues,omitempty"`
	FalseValues []string `json:"falseValues,omitempty"`
	Description string   `json:"description"`
	Unit        string   `json:"unit,omitempty"`
	Source      string   `json:"source"`
	Of          string   `json:"name_in_trial,omitempty"`
}

// about is what is needed to read the readings, and to do the analysis again without
// the trial's folder.
type about struct {
	By        string        `json:"by"`
	Trial     string        `json:"trial"`
	Timezone  string        `json:"timezone"`
	DayStarts string        `json:"day_starts"`
	Starts    light.Date    `json:"starts"`
	Ends      light.Date    `json:"ends"`
	From      light.Date    `json:"from"` // of readings and days
	To        light.Date    `json:"to"`
	Sensors   []sensorAbout `json:"sensors"`
	Analysis  analysisAsked `json:"analysis"`
}

type sensorAbout struct {
	Name     string  `json:"name"`
	Measures string  `json:"measures"`
	Unit     string  `json:"unit,omitempty"`
	Bin      string  `json:"bin"`
	Row      int     `json:"row,omitempty"`
	Column   int     `json:"column,omitempty"`
	Scale    float64 `json:"scale"`
	Offset   float64 `json:"offset"`
	From     string  `json:"from,omitempty"`
	Until    string  `json:"until,omitempty"`
}

// field is a column as the Table Schema standard has it.
func (c *ColumnMeaning) field() schemaField {
	f := schemaField{Name: c.Name, Type: c.Type, Description: c.Means, Unit: c.Unit, Source: c.Source, Of: c.Of}
	switch c.Type {
	case typeTime:
		f.Format = "any" // parts of a second may follow, which the default form has not
	case typeBoolean:
		f.TrueValues, f.FalseValues = []string{"yes"}, []string{"no"}
	}
	return f
}

// meaning is a field as it was written.
func (f *schemaField) meaning() ColumnMeaning {
	return ColumnMeaning{Name: f.Name, Of: f.Of, Type: f.Type, Unit: f.Unit, Means: f.Description, Source: f.Source}
}

// describe writes the descriptor.
func (x *exporter) describe(context.Context) error {
	t := x.trial
	p := dataPackage{
		Profile: "data-package", Name: slug(t.Name), Title: t.Name,
		Description: "A plant propagation trial: what its sensors read, the light of each place and day, the air, the plants with what became of them, and the trial's own sheets. Times are UTC. A blank cell is not known, never zero.",
		Created:     x.now().UTC().Format(time.RFC3339),
		Parstead: about{
			By: version.Words(), Trial: t.Name, Timezone: t.Rack.Zone.String(), DayStarts: t.Rack.DayStarts.String(), Starts: t.Rack.Starts, Ends: t.Rack.Ends,
			From: x.from, To: x.to, Sensors: []sensorAbout{}, Analysis: analysisOf(t),
		},
	}
	for i := range x.Sheets {
		s := &x.Sheets[i]
		r := resource{
			Profile: "tabular-data-resource", Name: strings.TrimSuffix(s.File, ".csv"), Path: s.File, Description: s.Holds,
			Format: "csv", MediaType: "text/csv", Encoding: "utf-8", Rows: &s.Rows, Schema: &tableSchema{MissingValues: []string{""}},
		}
		for _, c := range s.Columns {
			r.Schema.Fields = append(r.Schema.Fields, c.field())
		}
		p.Resources = append(p.Resources, r)
	}
	taken := map[string]bool{}
	for _, file := range x.Files {
		name := slug(file)
		for taken[name] {
			name += "-"
		}
		taken[name] = true
		says := "the trial's own file, as it stands"
		if strings.HasPrefix(file, photo.Folder+"/") {
			says = "a photo of a plant: PLANT-DATE-N"
		}
		ending := strings.TrimPrefix(strings.ToLower(path.Ext(file)), ".")
		p.Resources = append(p.Resources, resource{
			Profile: "data-resource", Name: name, Path: file, Description: says, Format: ending, MediaType: mediaTypes[ending],
		})
	}
	for i := range p.Resources {
		info, err := os.Stat(filepath.Join(x.dir, filepath.FromSlash(p.Resources[i].Path)))
		if err != nil {
			return err
		}
		p.Resources[i].Bytes = info.Size()
	}
	for _, s := range t.Rack.Sensors {
		p.Parstead.Sensors = append(p.Parstead.Sensors, sensorAbout{
			s.Name, s.Measures.String(), s.Measures.Unit(), s.Position.Bin, s.Position.Row, s.Position.Column,
			s.Scale, s.Offset, timeCell(s.During.From), timeCell(s.During.Until),
		})
	}
	return atomicfile.Create(filepath.Join(x.dir, Descriptor), 0o600, func(w *bufio.Writer) error {
		out := json.NewEncoder(w)
		out.SetEscapeHTML(false)
		out.SetIndent("", "  ")
		return out.Encode(p)
	})
}

// mediaTypes are those of the trial's own files (IANA's list; RFC 4180, RFC 9512's
// kin).
var mediaTypes = map[string]string{
	"csv":  "text/csv",
	"jpg":  "image/jpeg",
	"toml": "application/toml",
	"xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
	"txt":  "text/plain",
}

// slug is a name as the standard wants it: small letters, digits and - . _ / alone.
func slug(name string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(name) {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9', r == '.', r == '_', r == '/', r == '-':
			b.WriteRune(r)
		case unicode.IsSpace(r):
			b.WriteByte('-')
		case unicode.IsLetter(r):
			b.WriteString(strconv.FormatInt(int64(r), 16))
		}
	}
	if b.Len() == 0 {
		return "trial"
	}
	return b.String()
}
