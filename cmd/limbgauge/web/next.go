package web

import (
	"net/url"
	"strings"

	"limbgauge/analyze/health"
	"limbgauge/analyze/report"
)

// furtherOf leads to the routine that measures all, with the same joints, where another found nothing wrong and left
// limits unproven; else nil.
func furtherOf(asked Sweep, h health.Health) *further {
	if asked.Endure != nil || asked.Bare || asked.Routine == report.AllMeasured || nextOf(h) != "" {
		return nil
	}
	for _, j := range h.Joints {
		for _, m := range j.Measures {
			if m.Verdict == health.Unproven && !m.OnlyFails() {
				to := url.URL{Path: "/", RawQuery: url.Values{"joint": asked.Joints, "routine": {report.AllMeasured}}.Encode(), Fragment: "ask"}
				return &further{to.String(), "Run " + strings.Join(asked.Joints, ", ") + " with routine " + report.AllMeasured}
			}
		}
	}
	return nil
}

// nextOf is what to do first about the worst that was found, "" where nothing was.
func nextOf(h health.Health) string {
	for _, severity := range []health.Severity{health.SeverityFault, health.SeverityWarning} {
		for _, j := range h.Joints {
			for _, f := range j.Findings {
				if f.Severity == severity && f.Cause != health.None {
					return report.Sentence("joint " + j.Joint + ": " + f.Next)
				}
			}
		}
	}
	return ""
}
