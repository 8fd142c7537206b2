package demo

import (
	"time"

	"parstead/light"
)

// Notes are the lines that the grower writes into the trial's log, in order of
// writing and numbered from one. What nobody noticed is not among them.
func (w *World) Notes() []light.Event {
	if w.Quiet {
		return nil
	}
	s := &w.season
	notes := []light.Event{
		{
			At: s.stuck.From, Written: s.stuck.Until, Kind: light.Other, Bin: s.stuckBin, Sensor: "lux " + s.stuckBin,
			Text: "the lux chip had shown the same number for two days; unplugged it and plugged it in again",
		},
		{
			At: s.outage.From, Written: s.outage.Until, Kind: light.Other, Bin: s.outageBin,
			Text: "lamp out since yesterday morning: its plug had worked loose",
		},
		{
			At: s.cut.From, Written: s.clockRight.Add(20 * time.Minute), Kind: light.PowerCut, During: s.cut,
			Text: "power cut in the whole street until the afternoon",
		},
		{
			At: w.clock(s.accident, 17, 0), Written: w.clock(s.accident, 17, 10), Kind: light.Other, Plant: w.Truth.Dropped,
			Text: "dropped the pot",
		},
		{
			At: s.missed.From.Add(8 * time.Hour), Written: s.missed.Until.Add(-4 * time.Hour), Kind: light.FloodMissed,
			Bin: "middle-left", Text: "the pump of reservoir B had jammed; cleared it. Both bins of the shelf were dry",
		},
		{
			At: w.clock(s.drift[1], 22, 0), Written: w.clock(s.drift[1], 22, 0), Kind: light.Other, Bin: s.driftBin,
			Text: "the timer ran 47 minutes late; set it right",
		},
		{
			At: s.raised, Written: s.raised.Add(15 * time.Minute), Kind: light.LampMoved, Bin: s.raisedBin,
			Text: "raised the lamp by two notches, leaves were bleaching",
		},
		{
			At: s.wiped, Written: s.wiped.Add(30 * time.Minute), Kind: light.LampCleaned,
			Text: "wiped the dust off all lamps",
		},
		{
			At: w.clock(s.hot, 15, 0), Written: w.clock(s.hot, 19, 0), Kind: light.Other,
			Text: "heating stuck on over noon, 31 degrees at the plants",
		},
	}
	for i := range notes {
		notes[i].ID = uint64(i + 1)
	}
	return notes
}
