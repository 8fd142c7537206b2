package main

import (
	"fmt"
	"path/filepath"

	"parstead/cmd/parstead/trial"
	"parstead/correlate"
	"parstead/correlate/report"
	"parstead/light/account"
	"parstead/light/climate"
	"parstead/store"
)

// writeReport writes the page and the pictures of a folder's results into dir;
// remark stands on top of the page.
func writeReport(e *env, folder, dir, remark string, in *correlate.Input, result *correlate.Result) error {
	t, err := trial.Open(folder)
	if err != nil {
		return err
	}
	view, err := store.OpenFolder(e.ctx, folder)
	if err != nil {
		return err
	}
	defer view.Close() //nolint:errcheck // it only read
	r := report.Report{
		Trial: t.Name, Remark: remark, Version: version(), Written: e.now(),
		Input: in, Result: result, Rack: t.Rack, FactorsFrom: t.FactorsFrom,
	}
	season, err := account.New(&t.Rack, view, account.Options{Now: e.now}).Season(e.ctx, t.Rack.Starts, t.Rack.Ends)
	if err != nil {
		return err
	}
	r.Days, r.Unused = season.Days, season.Remarks
	if r.Air, err = climate.Days(e.ctx, &t.Rack, view, climate.Options{Now: e.now}, t.Rack.Starts, t.Rack.Ends); err != nil {
		return err
	}
	if r.Log, err = view.Events(e.ctx); err != nil {
		return err
	}
	if err := report.Write(dir, r); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.stderr, "Report: %s\n", filepath.Join(dir, "index.html"))
	return err
}
