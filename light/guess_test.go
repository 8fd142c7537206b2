package light_test

import (
	"testing"

	"parstead/light"
)

// Names as firmware of many kinds writes them: common practice, no source.
func TestGuessedQuantities(t *testing.T) {
	t.Parallel()
	const sure, unsure = true, false
	for _, c := range []struct {
		topic, pointer, unit string
		want                 light.Quantity
		sure                 bool
	}{
		{"rack/1/rh", "", "", light.QuantityHumidity, sure},
		{"rack/1/hum", "", "", light.QuantityHumidity, sure},
		{"rack/1", "/BH1750Lux", "", light.QuantityLux, sure},
		{"rack/1", "/chip 1/Illuminance", "", light.QuantityLux, sure},
		{"rack/1", "/airTemperature", "", light.QuantityTemperature, sure},
		{"rack/1", "/temperature/value", "", light.QuantityTemperature, sure},
		{"rack/lux/1", "/v", "", light.QuantityLux, unsure},
		{"rack/1", "/l", "lx", light.QuantityLux, sure},
		{"rack/1", "/x", "°C", light.QuantityTemperature, sure},
		{"rack/1", "/x", "µmol/m²/s", light.QuantityPPFD, sure},
		{"rack/light", "", "", light.QuantityPPFD, unsure},
		{"rack/1", "/t", "", light.QuantityTemperature, unsure},
		{"rack/float", "", "", light.QuantityWet, sure},
		{"rack/throat", "", "", 0, unsure},
		{"rack/lux/1", "/serial", "", 0, unsure},
		{"rack/17", "", "", 0, unsure},
	} {
		if got := light.GuessQuantity(c.topic, c.pointer, c.unit); got != (light.Guess{Quantity: c.want, Sure: c.sure}) {
			t.Errorf("%s %s %q: %+v", c.topic, c.pointer, c.unit, got)
		}
	}
	for _, c := range [][3]string{
		{"rack/1/rssi", "", ""},
		{"rack/1", "/wifi/signal", "dBm"},
		{"rack/1", "/x", "dBm"},
		{"rack/light", "/uptime", ""},
		{"rack/light", "/batteryVoltage", ""},
		{"rack/1/air", "/DewPoint", "°C"},
		{"rack/1", "/cpu_temp", ""},
		{"rack/1", "/temp_max", ""},
		{"rack/light/switch", "", ""},
		{"start/config/light", "/lux", ""},
	} {
		if got := light.GuessQuantity(c[0], c[1], c[2]); !got.Else || got.Quantity != 0 {
			t.Errorf("%q is taken for %+v", c, got)
		}
	}
}
