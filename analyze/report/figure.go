package report

import "limbgauge/analyze/health"

// Figure writes a value and its expanded uncertainty as health.Figure does.
func Figure(value, u float64, decimals int) (v, pm string) { return health.Figure(value, u, decimals) }

func number(v float64, decimals int) string { return health.Number(v, decimals) }

func plain(v float64) string { return health.Plain(v) }

// unit returns the unit as it stands behind a figure; a pure number has none.
func unit(u string) string {
	if u == "1" {
		return ""
	}
	return u
}
