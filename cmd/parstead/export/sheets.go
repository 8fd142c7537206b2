package export

import (
	"context"
	"encoding/json"
	"iter"
	"strconv"
	"strings"
	"time"

	"parstead/light"
	"parstead/light/account"
	"parstead/light/climate"
	"parstead/light/field"
)

// sample is a reading with its sensor.
type sample struct {
	sensor string
	at     int64
	value  float64
	mark   light.Mark
}

// readings writes what the sensors read. What has no usable time goes into a
// file of its own, or an import would take it for measured at that time.
func (x *exporter) readings(ctx context.Context) error {
	columns := []column[sample]{
		{ColumnMeaning{Name: "time", Means: "when it was read: the sensor's own time, else that of arrival", Source: "sensor"}, func(s sample) string { return timeCell(time.Unix(0, s.at)) }},
		{ColumnMeaning{Name: "sensor", Means: "its name in trial.toml", Source: "trial.toml"}, func(s sample) string { return s.sensor }},
		{ColumnMeaning{Name: "value", Means: "raw: value × scale + offset of the sensor gives its unit (see sensors)", Source: "sensor"}, func(s sample) string { return cell(s.value) }},
	}
	const unplaced = light.Untimed | light.Stale
	err := writeSheet(x, "readings.csv", "what the sensors read, by sensor and time; of several values for one time the first counts", columns,
		x.samples(ctx, func(m light.Mark) bool { return m&unplaced == 0 }))
	if err != nil {
		return err
	}
	why := column[sample]{ColumnMeaning{Name: "why", Means: "untimed: without a time of its own, from a backlog or where trial.toml says that it has one; stale: a broker's kept value", Source: "computed"}, func(s sample) string {
		if s.mark&light.Stale != 0 {
			return "stale"
		}
		return "untimed"
	}}
	return writeSheet(x, "set_aside.csv", "readings of which nobody knows when they were measured; they enter no figure", append(columns, why),
		x.samples(ctx, func(m light.Mark) bool { return m&unplaced != 0 }))
}

// stretch is how much of a sensor's readings is held at once.
const stretch = 28 * 24 * time.Hour

// samples gives the readings whose marks are wanted, by sensor and time.
func (x *exporter) samples(ctx context.Context, wanted func(light.Mark) bool) iter.Seq2[sample, error] {
	return func(yield func(sample, error) bool) {
		names, err := x.view.Sensors()
		if err != nil {
			yield(sample{}, err)
			return
		}
		var series light.Series
		for _, name := range names {
			for _, during := range stretches(x.trial.Rack.Trial()) {
				series.Reset()
				if err := x.view.Series(ctx, name, during, &series); err != nil {
					yield(sample{}, err)
					return
				}
				for i, at := range series.Times {
					s := sample{sensor: name, at: at, value: series.Values[i]}
					if series.Marks != nil {
						s.mark = series.Marks[i]
					}
					if wanted(s.mark) && !yield(s, nil) {
						return
					}
				}
			}
		}
	}
}

// stretches cuts all of time into pieces, open at both ends.
func stretches(trial light.Span) []light.Span {
	var list []light.Span
	from := time.Time{}
	for cut := trial.From; cut.Before(trial.Until); cut = cut.Add(stretch) {
		list = append(list, light.Span{From: from, Until: cut})
		from = cut
	}
	return append(list, light.Span{From: from})
}

func (x *exporter) dli(ctx context.Context) error {
	lightAccount := account.New(&x.trial.Rack, x.view, account.Options{Now: x.now})
	season, err := lightAccount.Season(ctx, x.trial.Rack.Starts, x.trial.Rack.Ends)
	if err != nil {
		return err
	}
	x.Remarks = season.Remarks
	if err := x.residuals(season.Residuals); err != nil {
		return err
	}
	known := func(d *account.Day, v float64) string {
		if !d.Known {
			return ""
		}
		return cell(v)
	}
	return writeSheet(x, "dli.csv", "light of each grid position and light day", []column[*account.Day]{
		{ColumnMeaning{Name: "date", Means: "the light day, by the date on which it begins", Source: "computed"}, func(d *account.Day) string { return d.Date.String() }},
		{ColumnMeaning{Name: "bin", Means: "the bin's name", Source: "trial.toml"}, func(d *account.Day) string { return d.Position.Bin }},
		{ColumnMeaning{Name: "row", Means: "of the bin's grid, from 1", Source: "trial.toml"}, func(d *account.Day) string { return strconv.Itoa(d.Position.Row) }},
		{ColumnMeaning{Name: "column", Means: "of the bin's grid, from 1", Source: "trial.toml"}, func(d *account.Day) string { return strconv.Itoa(d.Position.Column) }},
		{ColumnMeaning{Name: "dli", Unit: "mol m⁻² d⁻¹", Means: "daily light integral, filled time included", Source: "computed"}, func(d *account.Day) string { return known(d, float64(d.DLI)) }},
		{ColumnMeaning{Name: "covered", Unit: "share", Means: "of the day's length that readings bridge", Source: "computed"}, func(d *account.Day) string { return cell(d.Covered) }},
		{ColumnMeaning{Name: "filled", Unit: "share", Means: "of dli that was estimated", Source: "computed"}, func(d *account.Day) string { return cell(d.Filled) }},
		{ColumnMeaning{Name: "missing", Unit: "share", Means: "of the day's length that is neither measured nor estimated", Source: "computed"}, func(d *account.Day) string { return cell(d.Missing) }},
		{ColumnMeaning{Name: "relative_error", Unit: "share", Means: "one standard deviation of dli", Source: "computed"}, func(d *account.Day) string { return known(d, d.Error.Total()) }},
		{ColumnMeaning{Name: "source", Means: "whichever gave most of dli: sensor, map, bin or timer", Source: "computed"}, func(d *account.Day) string {
			if !d.Known {
				return ""
			}
			return d.Source.String()
		}},
	}, each(season.Days))
}

// residuals writes the surveys' rows beside what the other rows expect of them.
func (x *exporter) residuals(list []field.Residual) error {
	whole := func(name, means string, of func(*field.Residual) int) column[*field.Residual] {
		return column[*field.Residual]{ColumnMeaning{Name: name, Means: means, Source: "survey"}, func(r *field.Residual) string { return strconv.Itoa(of(r)) }}
	}
	number := func(name, unit, means string, of func(*field.Residual) float64) column[*field.Residual] {
		return column[*field.Residual]{ColumnMeaning{Name: name, Unit: unit, Means: means, Source: "computed"}, func(r *field.Residual) string { return cell(of(r)) }}
	}
	return writeSheet(x, "survey_residuals.csv", "each row of the survey that shows light, beside what the walk's other rows expect there", []column[*field.Residual]{
		{ColumnMeaning{Name: "file", Means: "the sheet", Source: "survey"}, func(r *field.Residual) string { return r.Row.File }},
		whole("line", "of the sheet, from 1", func(r *field.Residual) int { return r.Row.Line }),
		{ColumnMeaning{Name: "time", Means: "when it was read", Source: "survey"}, func(r *field.Residual) string { return timeCell(r.At) }},
		{ColumnMeaning{Name: "bin", Means: "the bin's name", Source: "survey"}, func(r *field.Residual) string { return r.Position.Bin }},
		whole("row", "of the bin's grid, from 1", func(r *field.Residual) int { return r.Position.Row }),
		whole("column", "of the bin's grid, from 1", func(r *field.Residual) int { return r.Position.Column }),
		number("ppfd", "µmol m⁻² s⁻¹", "the reading, at the height of the plants", func(r *field.Residual) float64 { return r.PPFD }),
		number("sensors_ppfd", "µmol m⁻² s⁻¹", "what the bin's sensors showed meanwhile; empty where none read", func(r *field.Residual) float64 { return r.Reference }),
		number("residual", "natural log", "the reading over what the other rows expect; empty where none do", func(r *field.Residual) float64 { return r.Off }),
		number("residual_sd", "natural log", "one standard deviation of that, were nothing amiss", func(r *field.Residual) float64 { return r.SD }),
		{ColumnMeaning{Name: "verdict", Means: "named: the others can't explain it; set aside: beyond doubt, it enters no map; otherwise empty", Source: "computed"}, func(r *field.Residual) string {
			switch {
			case r.Aside:
				return "set aside"
			case r.Named:
				return "named"
			}
			return ""
		}},
	}, each(list))
}

func (x *exporter) climate(ctx context.Context) error {
	days, err := climate.Days(ctx, &x.trial.Rack, x.view, climate.Options{Now: x.now}, x.trial.Rack.Starts, x.trial.Rack.Ends)
	if err != nil {
		return err
	}
	number := func(name, unit, means string, of func(*climate.Day) float64) column[*climate.Day] {
		return column[*climate.Day]{ColumnMeaning{Name: name, Unit: unit, Means: means, Source: "computed"}, func(d *climate.Day) string { return cell(of(d)) }}
	}
	return writeSheet(x, "climate.csv", "the air of each bin and light day; light: while a lamp is on by its timer", []column[*climate.Day]{
		{ColumnMeaning{Name: "date", Means: "the light day, by the date on which it begins", Source: "computed"}, func(d *climate.Day) string { return d.Date.String() }},
		{ColumnMeaning{Name: "bin", Means: "the bin's name", Source: "trial.toml"}, func(d *climate.Day) string { return d.Bin }},
		number("light_mean", "°C", "mean temperature in the light", func(d *climate.Day) float64 { return d.LightMean }),
		number("dark_mean", "°C", "mean temperature in the dark", func(d *climate.Day) float64 { return d.DarkMean }),
		number("min", "°C", "lowest temperature", func(d *climate.Day) float64 { return d.Min }),
		number("max", "°C", "highest temperature", func(d *climate.Day) float64 { return d.Max }),
		number("humidity_light", "%", "mean relative humidity in the light", func(d *climate.Day) float64 { return d.HumidityLight }),
		number("humidity_dark", "%", "mean relative humidity in the dark", func(d *climate.Day) float64 { return d.HumidityDark }),
		number("vpd_light", "kPa", "mean vapour-pressure deficit in the light", func(d *climate.Day) float64 { return d.VPDLight }),
		number("vpd_dark", "kPa", "mean vapour-pressure deficit in the dark", func(d *climate.Day) float64 { return d.VPDDark }),
		number("degree_days", "°C d", "above base_celsius of trial.toml", func(d *climate.Day) float64 { return d.DegreeDays }),
		number("hours_cold", "h", "below the trial's range of temperature", func(d *climate.Day) float64 { return d.Cold }),
		number("hours_hot", "h", "above the trial's range of temperature", func(d *climate.Day) float64 { return d.Hot }),
		number("hours_dry", "h", "below the trial's range of humidity", func(d *climate.Day) float64 { return d.Dry }),
		number("hours_damp", "h", "above the trial's range of humidity", func(d *climate.Day) float64 { return d.Damp }),
		number("covered", "share", "of the day that readings bridge", func(d *climate.Day) float64 { return d.Covered }),
	}, each(days))
}

func (x *exporter) log(ctx context.Context) error {
	events, err := x.view.Events(ctx)
	if err != nil {
		return err
	}
	x.data = map[uint64]json.RawMessage{}
	for _, event := range events {
		if len(event.Data) > 0 {
			x.data[event.ID] = event.Data
		}
	}
	text := func(name, means, source string, of func(*light.Entry) string) column[*light.Entry] {
		return column[*light.Entry]{ColumnMeaning{Name: name, Means: means, Source: source}, of}
	}
	return writeSheet(x, "log.csv", "the trial's log, in the order of writing", []column[*light.Entry]{
		text("id", "the entry's number", "log", func(r *light.Entry) string { return strconv.FormatUint(r.ID, 10) }),
		text("at", "when it happened", "grower, or the program", func(r *light.Entry) string { return r.At }),
		text("written", "when it was entered", "log", func(r *light.Entry) string { return r.Written }),
		text("kind", "what it is about", "grower, or the program", func(r *light.Entry) string { return r.Kind }),
		text("bin", "the bin it concerns; empty for the whole rack", "grower", func(r *light.Entry) string { return r.Bin }),
		text("plant", "the plant it concerns", "grower", func(r *light.Entry) string { return r.Plant }),
		text("sensor", "the sensor it concerns", "grower", func(r *light.Entry) string { return r.Sensor }),
		text("from", "where an ignored, timed or muted stretch begins", "grower", func(r *light.Entry) string { return r.From }),
		text("until", "where it ends", "grower", func(r *light.Entry) string { return r.Until }),
		text("text", "what was written; behind an apostrophe where a spreadsheet program would take it for a formula", "grower, or the program", func(r *light.Entry) string { return noFormula(r.Text) }),
		text("withdraws", "the entry that this one takes back", "grower", func(r *light.Entry) string {
			if r.Withdraws == 0 {
				return ""
			}
			return strconv.FormatUint(r.Withdraws, 10)
		}),
		text("withdrawn", "yes: a later entry takes it back", "computed", func(r *light.Entry) string { return yesCell(r.Withdrawn) }),
	}, each(light.Entries(events)))
}

// noFormula keeps a spreadsheet program from acting on a text that somebody may
// have typed at the page.
func noFormula(text string) string {
	if text != "" && strings.ContainsRune("=+-@", rune(text[0])) {
		return "'" + text
	}
	return text
}
