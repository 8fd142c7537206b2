package export

import (
	"context"
	"io"
	"iter"
	"math"
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
		instant("time", "when it was read: the sensor's own time, else that of arrival", "sensor", func(s sample) time.Time { return time.Unix(0, s.at) }),
		text("sensor", "its name in trial.toml", "trial.toml", func(s sample) string { return s.sensor }),
		number("value", "", "raw: value × scale + offset of the sensor gives its unit (see sensors)", "sensor", func(s sample) float64 { return s.value }),
	}
	const unplaced = light.Untimed | light.Stale
	err := writeSheet(x, "readings.csv", "what the sensors read, by sensor and time; of several values for one time the first counts", columns,
		x.samples(ctx, func(m light.Mark) bool { return m&unplaced == 0 }))
	if err != nil {
		return err
	}
	why := text("why", "untimed: without a time of its own, from a backlog or where trial.toml says that it has one; stale: a broker's kept value", "computed", func(s sample) string {
		if s.mark&light.Stale != 0 {
			return "stale"
		}
		return "untimed"
	})
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
			for _, during := range x.stretches() {
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

// stretches cuts the time of the readings into pieces, within the trial.
func (x *exporter) stretches() []light.Span {
	trial, during := x.trial.Rack.Trial(), x.during
	var list []light.Span
	from := during.From
	for cut := trial.From; cut.Before(trial.Until); cut = cut.Add(stretch) {
		if cut.After(from) && (during.Until.IsZero() || cut.Before(during.Until)) {
			list = append(list, light.Span{From: from, Until: cut})
			from = cut
		}
	}
	return append(list, light.Span{From: from, Until: during.Until})
}

func (x *exporter) dli(ctx context.Context) error {
	lightAccount := account.New(&x.trial.Rack, x.view, account.Options{Now: x.now})
	season, err := lightAccount.Season(ctx, x.from, x.to)
	if err != nil {
		return err
	}
	x.Remarks = season.Remarks
	if err := x.residuals(season.Residuals); err != nil {
		return err
	}
	return writeSheet(x, "dli.csv", "light of each grid position and light day", dliColumns, each(season.Days))
}

// DLI writes days as the file dli.csv of an export has them.
func DLI(w io.Writer, days []account.Day) error {
	_, err := writeRows(w, dliColumns, each(days))
	return err
}

// BinDLI writes a line a bin and day.
func BinDLI(w io.Writer, days []account.BinDay) error {
	_, err := writeRows(w, binColumns, each(days))
	return err
}

// Climate writes days as the file climate.csv of an export has them.
func Climate(w io.Writer, days []climate.Day) error {
	_, err := writeRows(w, airColumns, each(days))
	return err
}

// ifKnown is a figure of a day whose light is known, else NaN.
func ifKnown(known bool, v float64) float64 {
	if !known {
		return math.NaN()
	}
	return v
}

func sourceCell(known bool, s account.Source) string {
	if !known {
		return ""
	}
	return s.String()
}

const (
	meansDate   = "the light day, by the date on which it begins"
	meansSource = "whichever gave most of dli: sensor, map, bin or timer"
)

var dliColumns = []column[*account.Day]{
	day("date", meansDate, "computed", func(d *account.Day) light.Date { return d.Date }),
	text("bin", "the bin's name", "trial.toml", func(d *account.Day) string { return d.Position.Bin }),
	whole("row", "of the bin's grid, from 1", "trial.toml", func(d *account.Day) int { return d.Position.Row }),
	whole("column", "of the bin's grid, from 1", "trial.toml", func(d *account.Day) int { return d.Position.Column }),
	number("dli", "mol m⁻² d⁻¹", "daily light integral, filled time included", "computed", func(d *account.Day) float64 { return ifKnown(d.Known, float64(d.DLI)) }),
	number("covered", "share", "of the day's length that readings bridge", "computed", func(d *account.Day) float64 { return d.Covered }),
	number("filled", "share", "of dli that was estimated", "computed", func(d *account.Day) float64 { return d.Filled }),
	number("missing", "share", "of the day's length that is neither measured nor estimated", "computed", func(d *account.Day) float64 { return d.Missing }),
	number("relative_error", "share", "one standard deviation of dli", "computed", func(d *account.Day) float64 { return ifKnown(d.Known, d.Error.Total()) }),
	text("source", meansSource, "computed", func(d *account.Day) string { return sourceCell(d.Known, d.Source) }),
}

var binColumns = []column[*account.BinDay]{
	day("date", meansDate, "computed", func(d *account.BinDay) light.Date { return d.Date }),
	text("bin", "the bin's name", "trial.toml", func(d *account.BinDay) string { return d.Bin }),
	number("mean", "mol m⁻² d⁻¹", "over the bin's positions", "computed", func(d *account.BinDay) float64 { return ifKnown(d.Known, float64(d.Mean)) }),
	number("min", "mol m⁻² d⁻¹", "the darkest position", "computed", func(d *account.BinDay) float64 { return ifKnown(d.Known, float64(d.Min)) }),
	number("max", "mol m⁻² d⁻¹", "the brightest position", "computed", func(d *account.BinDay) float64 { return ifKnown(d.Known, float64(d.Max)) }),
	number("cv", "share", "standard deviation over mean", "computed", func(d *account.BinDay) float64 { return ifKnown(d.Known, d.CV) }),
	number("covered", "share", "of the day's length that readings bridge", "computed", func(d *account.BinDay) float64 { return d.Covered }),
	number("filled", "share", "of the light that was estimated", "computed", func(d *account.BinDay) float64 { return d.Filled }),
	number("missing", "share", "of the day's length that is neither measured nor estimated", "computed", func(d *account.BinDay) float64 { return d.Missing }),
	number("relative_error", "share", "one standard deviation of the mean", "computed", func(d *account.BinDay) float64 { return ifKnown(d.Known, d.Error.Total()) }),
	text("source", meansSource, "computed", func(d *account.BinDay) string { return sourceCell(d.Known, d.Source) }),
}

// residuals writes the surveys' rows beside what the other rows expect of them.
func (x *exporter) residuals(list []field.Residual) error {
	return writeSheet(x, "survey_residuals.csv", "each row of the survey that shows light, beside what the walk's other rows expect there", []column[*field.Residual]{
		text("file", "the sheet", "survey", func(r *field.Residual) string { return r.Row.File }),
		whole("line", "of the sheet, from 1", "survey", func(r *field.Residual) int { return r.Row.Line }),
		instant("time", "when it was read", "survey", func(r *field.Residual) time.Time { return r.At }),
		text("bin", "the bin's name", "survey", func(r *field.Residual) string { return r.Position.Bin }),
		whole("row", "of the bin's grid, from 1", "survey", func(r *field.Residual) int { return r.Position.Row }),
		whole("column", "of the bin's grid, from 1", "survey", func(r *field.Residual) int { return r.Position.Column }),
		number("ppfd", "µmol m⁻² s⁻¹", "the reading, at the height of the plants", "computed", func(r *field.Residual) float64 { return r.PPFD }),
		number("sensors_ppfd", "µmol m⁻² s⁻¹", "what the bin's sensors showed meanwhile; empty where none read", "computed", func(r *field.Residual) float64 { return r.Reference }),
		number("residual", "natural log", "the reading over what the other rows expect; empty where none do", "computed", func(r *field.Residual) float64 { return r.Off }),
		number("residual_sd", "natural log", "one standard deviation of that, were nothing amiss", "computed", func(r *field.Residual) float64 { return r.SD }),
		text("verdict", "named: the others can't explain it; set aside: beyond doubt, it enters no map; otherwise empty", "computed", func(r *field.Residual) string {
			switch {
			case r.Aside:
				return "set aside"
			case r.Named:
				return "named"
			}
			return ""
		}),
	}, each(list))
}

func (x *exporter) climate(ctx context.Context) error {
	days, err := climate.Days(ctx, &x.trial.Rack, x.view, climate.Options{Now: x.now}, x.from, x.to)
	if err != nil {
		return err
	}
	return writeSheet(x, "climate.csv", "the air of each bin and light day; light: while a lamp is on by its timer", airColumns, each(days))
}

var airColumns = []column[*climate.Day]{
	day("date", meansDate, "computed", func(d *climate.Day) light.Date { return d.Date }),
	text("bin", "the bin's name", "trial.toml", func(d *climate.Day) string { return d.Bin }),
	number("light_mean", "°C", "mean temperature in the light", "computed", func(d *climate.Day) float64 { return d.LightMean }),
	number("dark_mean", "°C", "mean temperature in the dark", "computed", func(d *climate.Day) float64 { return d.DarkMean }),
	number("min", "°C", "lowest temperature", "computed", func(d *climate.Day) float64 { return d.Min }),
	number("max", "°C", "highest temperature", "computed", func(d *climate.Day) float64 { return d.Max }),
	number("humidity_light", "%", "mean relative humidity in the light", "computed", func(d *climate.Day) float64 { return d.HumidityLight }),
	number("humidity_dark", "%", "mean relative humidity in the dark", "computed", func(d *climate.Day) float64 { return d.HumidityDark }),
	number("vpd_light", "kPa", "mean vapour-pressure deficit in the light", "computed", func(d *climate.Day) float64 { return d.VPDLight }),
	number("vpd_dark", "kPa", "mean vapour-pressure deficit in the dark", "computed", func(d *climate.Day) float64 { return d.VPDDark }),
	number("degree_days", "°C d", "above base_celsius of trial.toml", "computed", func(d *climate.Day) float64 { return d.DegreeDays }),
	number("hours_cold", "h", "below the trial's range of temperature", "computed", func(d *climate.Day) float64 { return d.Cold }),
	number("hours_hot", "h", "above the trial's range of temperature", "computed", func(d *climate.Day) float64 { return d.Hot }),
	number("hours_dry", "h", "below the trial's range of humidity", "computed", func(d *climate.Day) float64 { return d.Dry }),
	number("hours_damp", "h", "above the trial's range of humidity", "computed", func(d *climate.Day) float64 { return d.Damp }),
	number("covered", "share", "of the day that readings bridge", "computed", func(d *climate.Day) float64 { return d.Covered }),
}
