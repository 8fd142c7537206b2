package harvest

import (
	"context"
	"time"

	"parstead/cmd/parstead/version"
	"parstead/correlate"
	"parstead/correlate/report"
	"parstead/light/account"
	"parstead/light/climate"
	"parstead/store"
)

// WriteReport writes the page and the pictures of the results into dir; remark
// stands on top of the page.
func (h *Harvest) WriteReport(ctx context.Context, now func() time.Time, dir, remark string, result *correlate.Result) error {
	t := h.Trial
	view, err := store.OpenFolder(ctx, t.Dir)
	if err != nil {
		return err
	}
	defer view.Close() //nolint:errcheck // it only read
	r := report.Report{
		Trial: t.Name, Remark: remark, Version: version.Words(), Written: now(),
		Input: h.Input, Result: result, Rack: t.Rack, FactorsFrom: t.FactorsFrom,
	}
	season, err := account.New(&t.Rack, view, account.Options{Now: now}).Season(ctx, t.Rack.Starts, t.Rack.Ends)
	if err != nil {
		return err
	}
	r.Days, r.Unused = season.Days, season.Remarks
	if r.Air, err = climate.Days(ctx, &t.Rack, view, climate.Options{Now: now}, t.Rack.Starts, t.Rack.Ends); err != nil {
		return err
	}
	if r.Log, err = view.Events(ctx); err != nil {
		return err
	}
	r.Photos = photosOf(t.Dir, r.Log, t.Rack.Zone)
	return report.Write(dir, r)
}
