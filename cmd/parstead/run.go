package main

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"runtime/debug"
	"strings"
	"time"

	"parstead/cmd/parstead/daemon"
	"parstead/cmd/parstead/harvest"
	"parstead/cmd/parstead/monitor"
	"parstead/cmd/parstead/trial"
	"parstead/correlate"
	"parstead/ingest"
)

// runCmd is the daemon.
type runCmd struct {
	Folders     []string `arg:"" optional:"" name:"folder" help:"The trial's folder; beside --metrics-files those of all racks."`
	TestMessage bool     `xor:"instead" help:"Send one message through [tell] and end."`
	Metrics     string   `name:"metrics-files" xor:"instead" placeholder:"DIR" help:"Write alert rules, recording rules, a scrape job, the list of the racks and a console page for a metrics server into DIR, and end."`
	ServiceFile bool     `xor:"instead" help:"Print a service file for systemd, with how to install it, and end."`
	Template    bool     `name:"service-template" xor:"instead" help:"Print a service file for systemd that watches any number of trials under /srv/parstead, and end."`
	Verbose     bool     `help:"Log what is ordinary too."`
}

// Help is what run --help says beside its options.
func (runCmd) Help() string {
	return `Takes readings in until it is told to end (an interrupt, SIGTERM or SIGHUP), keeps the
light account, shows it on the page and tells of trouble. Ends in order, within
half a minute; a second signal ends it at once. Logs to stderr. Other commands
may be used meanwhile.

Parstead only watches: it switches nothing and replaces no safety device.

Example: parstead run mytrial
         parstead run --service-file mytrial
         parstead run --metrics-files rules /srv/parstead/*

Exit status: 0 ended as told, 1 a fault.`
}

// memoryLimit is what the daemon keeps to where GOMEMLIMIT says nothing: a soft
// limit, at which memory is freed sooner.
const memoryLimit = 128 << 20

// Run runs the daemon.
func (c *runCmd) Run(e *env) error {
	if c.Metrics != "" {
		return writeMetricsFiles(e, c.Metrics, c.Folders)
	}
	if c.Template {
		return daemon.WriteServiceTemplate(e.stdout, "/usr/bin/parstead")
	}
	if len(c.Folders) > 1 {
		return usageError{"a daemon watches one folder; run one for each: parstead run --service-template"}
	}
	folder := strings.Join(c.Folders, "")
	if c.ServiceFile {
		return daemon.WriteServiceFile(e.stdout, folder)
	}
	if folder == "" {
		return usageError{`expected "<folder>"; see parstead run --help`}
	}
	t, err := trial.OpenToRun(folder)
	if err != nil {
		return err
	}
	level := slog.LevelInfo
	if c.Verbose {
		level = slog.LevelDebug
	}
	o := daemon.Options{
		Clock:          ingest.SystemClock(),
		ServiceManager: true,
		Analyse:        answer,
		Log:            slog.New(slog.NewTextHandler(e.stderr, &slog.HandlerOptions{Level: level})),
	}
	if c.TestMessage {
		return daemon.TestMessage(e.ctx, t, o.Clock.Now())
	}
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(memoryLimit)
	}
	d, err := daemon.Open(e.ctx, t, o)
	if err != nil {
		return err
	}
	o.Log.Info("watching", "trial", t.Name, "broker", d.BrokerAddress(), "page", d.PageURL())
	return d.Run(e.ctx)
}

// answer is what a folder's harvest says, as the status page shows it.
func answer(ctx context.Context, folder string) ([]string, error) {
	h, err := harvest.Read(ctx, folder, time.Now(), false)
	if err != nil {
		return nil, err
	}
	result, err := correlate.Analyse(ctx, h.Input, correlate.Options{Seed: 1})
	if err != nil {
		return nil, err
	}
	var says []string
	for _, s := range result.Answer {
		says = append(says, s.String())
	}
	return says, nil
}

// writeMetricsFiles writes what a metrics server needs to watch the racks of the folders,
// and says where each goes.
func writeMetricsFiles(e *env, dir string, folders []string) error {
	racks := []monitor.Rack{{Listen: trial.DefaultPage}}
	if len(folders) > 0 {
		racks = nil
		var all []*trial.Trial
		for _, folder := range folders {
			t, err := trial.Open(folder)
			if err != nil {
				return fmt.Errorf("%s: %w", folder, err)
			}
			all = append(all, t)
			racks = append(racks, monitor.Rack{Name: t.FolderName(), Listen: t.Page.Listen, Secure: t.Page.CertFile != ""})
		}
		for _, p := range trial.Beside(all) {
			if p.Level == trial.LevelError {
				return p
			}
		}
	}
	written, err := monitor.Write(dir, racks)
	if err != nil {
		return err
	}
	for _, name := range written {
		fmt.Fprintln(e.stdout, name)
	}
	fmt.Fprint(e.stdout, `
Name both rule files under rule_files: of the metrics server, put the scrape job under
scrape_configs:, and the page into its folder of console templates; it is then at
/consoles/parstead.html. promtool check rules says whether they were kept whole. Of
another rack, or one whose page moves, only the list of racks changes: say this again
with all folders, and the server takes the list up by itself.
`)
	return nil
}
