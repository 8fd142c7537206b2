package climate

import (
	"encoding/json"
	"math"
	"strconv"
)

// AppendJSON appends the day as an object of `parstead climate --json`. A
// quantity that is not known is absent.
func (d Day) AppendJSON(dst []byte) []byte {
	bin, err := json.Marshal(d.Bin)
	if err != nil {
		panic("climate: " + err.Error()) // a string always has a JSON form
	}
	dst = append(dst, `{"date":"`...)
	dst = append(dst, d.Date.String()...)
	dst = append(dst, `","bin":`...)
	dst = append(dst, bin...)
	for _, x := range []struct {
		key   string
		value float64
	}{
		{"light_mean", d.LightMean},
		{"dark_mean", d.DarkMean},
		{"min", d.Min},
		{"max", d.Max},
		{"humidity_light", d.HumidityLight},
		{"humidity_dark", d.HumidityDark},
		{"vpd_light", d.VPDLight},
		{"vpd_dark", d.VPDDark},
		{"degree_days", d.DegreeDays},
		{"hours_cold", d.Cold},
		{"hours_hot", d.Hot},
		{"hours_dry", d.Dry},
		{"hours_damp", d.Damp},
		{"covered", d.Covered},
	} {
		if math.IsNaN(x.value) {
			continue
		}
		dst = append(dst, ',', '"')
		dst = append(dst, x.key...)
		dst = append(dst, '"', ':')
		dst = strconv.AppendFloat(dst, x.value, 'g', -1, 64)
	}
	return append(dst, '}')
}

// MarshalJSON gives the object of AppendJSON.
func (d Day) MarshalJSON() ([]byte, error) { return d.AppendJSON(nil), nil }
