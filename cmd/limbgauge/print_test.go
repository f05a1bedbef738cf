package main

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"limbgauge/rig"
)

// sheetOfPaper is a printed page: its size and its words, points from the upper left corner.
type sheetOfPaper struct {
	Width  float64 `xml:"width,attr"`
	Height float64 `xml:"height,attr"`
	Words  []word  `xml:"word"`
}

type word struct {
	Left   float64 `xml:"xMin,attr"`
	Right  float64 `xml:"xMax,attr"`
	Top    float64 `xml:"yMin,attr"`
	Bottom float64 `xml:"yMax,attr"`
	Text   string  `xml:",chardata"`
}

// covers says whether two words are printed over each other, by a third of the smaller or more. The boxes
// are those of the letters' cells, so neighbouring lines touch.
func (w word) covers(o word) bool {
	area := func(w word) float64 { return (w.Right - w.Left) * (w.Bottom - w.Top) }
	wide, high := min(w.Right, o.Right)-max(w.Left, o.Left), min(w.Bottom, o.Bottom)-max(w.Top, o.Top)
	return wide > 0 && high > 0 && wide*high > min(area(w), area(o))/3
}

// headHeight is where the head of a page ends, points: the upper margin of 19 mm.
const headHeight = 19 / 25.4 * 72

// head and body are the words above and below the upper margin.
func (s sheetOfPaper) head() string { return s.text(0, headHeight) }
func (s sheetOfPaper) body() string { return s.text(headHeight, math.Inf(1)) }

func (s sheetOfPaper) text(from, to float64) string {
	var out []string
	for _, w := range s.Words {
		if w.Top >= from && w.Top < to {
			out = append(out, w.Text)
		}
	}
	return strings.Join(out, " ")
}

// filled is how far down the page its last word stands, a share of what can be printed on.
func (s sheetOfPaper) filled() float64 {
	low := headHeight
	for _, w := range s.Words {
		low = max(low, w.Bottom)
	}
	return (low - headHeight) / (s.Height - headHeight - 12/25.4*72)
}

// lastLine is what stands lowest on the page.
func (s sheetOfPaper) lastLine() string {
	low := 0.0
	for _, w := range s.Words {
		low = max(low, w.Bottom)
	}
	return s.text(low-12, math.Inf(1))
}

// printed prints a bench's newest report with a browser, after whatever is to be done to the page.
func printed(t *testing.T, b *tab, name, bench string, before ...string) []sheetOfPaper {
	t.Helper()
	file := filepath.Join(t.TempDir(), "report.html")
	if code, _, errs := in(t, bench, "report", "--out", file); code != 0 {
		t.Fatalf("report: exit code %d: %s", code, errs)
	}
	if info, err := os.Stat(file); err != nil || info.Size() > 1e6 {
		t.Errorf("the report weighs too much for a message: %v, %v", info.Size(), err)
	}
	b.do(chromedp.Navigate("file://"+file), holds(`document.readyState === "complete"`))
	for _, script := range before {
		b.do(holds(script))
	}
	return b.paper(name)
}

// paper prints the open page and reads the paper with a program that is not ours.
func (b *tab) paper(name string) []sheetOfPaper {
	b.t.Helper()
	yes := true
	pdf, err := chromedp.Run(b.ctx, chromedp.PrintToPDF(func(p *page.PrintToPDFParams) { p.PreferCSSPageSize = &yes }))
	if err != nil {
		b.t.Fatal(err)
	}
	if dir := os.Getenv(shots); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, "print-"+name+".pdf"), pdf, 0o644); err != nil {
			b.t.Fatal(err)
		}
	}
	read := exec.Command(needs(b.t, "pdftotext"), "-bbox", "-", "-")
	read.Stdin = bytes.NewReader(pdf)
	words, err := read.Output()
	if err != nil {
		b.t.Fatal(err)
	}
	var doc struct {
		Pages []sheetOfPaper `xml:"body>doc>page"`
	}
	if err := xml.Unmarshal(words, &doc); err != nil {
		b.t.Fatal(err)
	}
	return doc.Pages
}

// paperBench makes a bench of one revision, swept once over some joints with the faults given.
func paperBench(t *testing.T, joints []string, revision string, edit func(string) string, more ...string) string {
	t.Helper()
	args := append(append([]string{"sweep"}, joints...), "--yes", "--speed", "0", "--seed", "1")
	for range 3 {
		folder := t.TempDir()
		if err := os.WriteFile(filepath.Join(folder, benchFile), []byte(edit(rig.ExampleBench())), 0o644); err != nil {
			t.Fatal(err)
		}
		if code, _, errs := in(t, folder, "rev", "add", revision, "--why", "for the test"); code != 0 {
			t.Fatalf("rev add: exit code %d: %s", code, errs)
		}
		code, out, errs := in(t, folder, append(args, more...)...)
		if code == 0 || code == exitStopped && !strings.Contains(out+errs, "no heartbeat") {
			return folder
		}
		t.Logf("sweep: exit code %d: %s", code, errs) // a starved machine trips the stand
	}
	t.Fatal("no sweep came to its end")
	return ""
}

// needs finds a program of the system; the test is skipped where it is missing, unless all must run.
func needs(t testing.TB, name string) string {
	t.Helper()
	program, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv(requireAll) != "" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	return program
}

func unchanged(s string) string { return s }

// A report is printed on A4 with leg, revision, run, date and "n of m" on every page, the verdict and
// what to do on the first, short enough to read, and nothing torn apart at a page's end.
func TestReportOnPaper(t *testing.T) {
	needs(t, "pdftotext")
	page := openBrowser(t)
	three := []string{"yaw", "hip", "knee"}
	hostileLeg := `O"Leg\ </style>;} *{color:red} 'ß' @x`
	for _, c := range []struct {
		name      string
		joints    []string
		edit      func(string) string
		revision  string
		more      []string
		mostPages int
		leg       string
		first     []string // on the first page, in this order
	}{
		{"healthy", three, unchanged, "A", nil, 3, "fore-left", []string{"No fault found", "Next ", "yaw", "hip", "knee"}},
		{"one finding", three, unchanged, "A", []string{"--fault", "knee:belt_slack=0.8"}, 4, "fore-left",
			[]string{"repair", "Change or repair the belt of the knee", "belt slack", "confidence 9", "knee: belt slack", "Evidence", "play (transmission)", "Could also be", "Next test", "re-tension it"}},
		{"three findings", three, unchanged, "A", []string{"--fault", "knee:belt_slack=0.8", "--fault", "hip:high_friction=0.15", "--fault", "yaw:servo_play=2"}, 5, "fore-left",
			[]string{"Change or repair", "yaw: play in the servo", "Next test", "hip: too much friction", "Next test", "knee: belt slack", "Next test"}},
		{"one joint, three findings", []string{"knee"}, unchanged, "A", []string{"--fault", "servo_play=2", "--fault", "supply_sag=1", "--fault", "high_friction=0.15"}, 4, "fore-left",
			[]string{"Change or repair", "Next test", "Next test"}},
		{"tripped", three, func(s string) string { return strings.ReplaceAll(s, "current_max_a = 2.5", "current_max_a = 1.2") }, "A", []string{"--fault", "knee:stall=1.3"}, 5, "fore-left",
			[]string{"cut short", "did not reach its end", "Next Find out what stopped it", "tripped"}},
		{"hostile names", []string{"knee"}, func(s string) string {
			return strings.Replace(s, `name = "fore-left"`, fmt.Sprintf("name = %q", hostileLeg), 1)
		}, `B"\</style>{`, nil, 3, hostileLeg, []string{"No fault found"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			bench := paperBench(t, c.joints, c.revision, c.edit, c.more...)
			pages := printed(t, page.tab(t), c.name, bench)
			if len(pages) == 0 || len(pages) > c.mostPages {
				t.Errorf("%d pages, want at most %d", len(pages), c.mostPages)
			}
			for i, p := range pages {
				if math.Abs(p.Width-595.3) > 1 || math.Abs(p.Height-841.9) > 1 {
					t.Errorf("page %d has %.1f x %.1f points, A4 has 595.3 x 841.9", i+1, p.Width, p.Height)
				}
				head := regexp.MustCompile(`^` + regexp.QuoteMeta("Leg "+c.leg+", revision "+c.revision+" run 0001, ") + `(\d+ [A-Z][a-z]+ \d{4}) ` + fmt.Sprintf("%d of %d$", i+1, len(pages)))
				m := head.FindStringSubmatch(p.head())
				if m == nil {
					t.Errorf("page %d is headed %q", i+1, p.head())
				} else if day, err := time.Parse("2 January 2006", m[1]); err != nil || time.Since(day) > 48*time.Hour {
					t.Errorf("page %d is dated %q", i+1, m[1])
				}
				// The last page may end early, but what is carried over must be worth a page.
				if least := 0.6; p.filled() < least && i < len(pages)-1 || p.filled() < 0.2 {
					t.Errorf("page %d is filled to %.0f %%", i+1, 100*p.filled())
				}
			}
			body := pages[0].body()
			for _, want := range c.first {
				i := strings.Index(body, want)
				if i < 0 {
					t.Errorf("%q does not follow on page 1: %.1200q", want, pages[0].body())
					break
				}
				body = body[i+len(want):]
			}
			checkWhole(t, pages)
		})
	}
}

// loopTitle is followed by a word where it is a title, by a sign where it is named in a list.
var loopTitle = regexp.MustCompile(`Deflection against load torque, (total|servo|transmission) [^·]`)

var sagRow = regexp.MustCompile(`Supply sag at least [0-9.]+ ± [0-9.]+ V`)

// checkWhole fails where a page's end tears apart what belongs together.
func checkWhole(t *testing.T, pages []sheetOfPaper) {
	t.Helper()
	for i, p := range pages {
		body := p.body()
		for k, w := range p.Words {
			if o := slices.IndexFunc(p.Words[:k], w.covers); o >= 0 {
				t.Errorf("page %d prints %q over %q", i+1, w.Text, p.Words[o].Text)
				break
			}
		}
		// The curve of a load loop carries its title above and its axis below.
		if up, down := len(loopTitle.FindAllString(body, -1)), strings.Count(body, "load torque in N·m"); up != down {
			t.Errorf("page %d has %d titles of a loop and %d axes", i+1, up, down)
		}
		// A finding begins with its part and ends with its next test.
		if from, to := strings.Count(body, "part: "), strings.Count(body, "Next test"); from > to {
			t.Errorf("page %d begins %d findings and ends %d", i+1, from, to)
		}
		// What is said of a figure stands below it.
		if rows, said := len(sagRow.FindAllString(body, -1)), strings.Count(body, "dips shorter than"); rows != said {
			t.Errorf("page %d has %d figures of the supply's sag and says of %d what they miss", i+1, rows, said)
		}
		for _, heading := range []string{"Against your limits", "Where motion is lost", "Remarks on the data", "Conditions and losses", "Cautions", "How to read this", "Measure Value Limit Verdict"} {
			if strings.HasPrefix(p.lastLine(), heading) {
				t.Errorf("page %d ends with the heading %q", i+1, p.lastLine())
			}
		}
	}
}

// Wherever a page's end falls, it tears nothing apart: all of a report is pushed down step by step.
func TestPageEndsTearNothing(t *testing.T) {
	needs(t, "pdftotext")
	b := openBrowser(t).tab(t)
	bench := paperBench(t, []string{"knee", "hip"}, "A", unchanged, "--fault", "knee:belt_slack=0.8")
	printed(t, b, "pushed", bench, `document.body.prepend(document.createElement("p")), true`)
	for mm := 0; mm <= 240; mm += 12 {
		b.do(holds(fmt.Sprintf(`document.body.firstChild.style.height = "%dmm", true`, mm)))
		name := fmt.Sprintf("pushed-%d", mm)
		t.Run(name, func(t *testing.T) { checkWhole(t, b.paper(name)) })
	}
}

// What is folded is not printed but named; what a reader opens is printed and no longer named so.
func TestFoldsOnPaper(t *testing.T) {
	needs(t, "pdftotext")
	page := openBrowser(t)
	bench := paperBench(t, []string{"knee"}, "A", unchanged)
	all := func(pages []sheetOfPaper) string {
		var out []string
		for _, p := range pages {
			out = append(out, p.body())
		}
		return strings.Join(out, " ")
	}
	short := all(printed(t, page.tab(t), "folded", bench))
	for _, want := range []string{"Not printed, but in the file: · remarks on figures that pass ·", "figures without a limit ·", "more curves", "Not printed, but in the file: · Method and sources", "This print is the short form.", "limbgauge report 0001"} {
		if !strings.Contains(short, want) {
			t.Errorf("%q is not on the short form", want)
		}
	}
	for _, hidden := range []string{"Rise time", "Supply voltage", "ISO 14253-1"} {
		if strings.Contains(short, hidden) {
			t.Errorf("%q is printed though it is folded away", hidden)
		}
	}
	pages := printed(t, page.tab(t), "opened", bench, `document.querySelectorAll("details").forEach((d) => { d.open = true }), true`)
	checkWhole(t, pages)
	long := all(pages)
	for _, want := range []string{"Rise time", "Supply voltage", "ISO 14253-1", "Method: "} {
		if !strings.Contains(long, want) {
			t.Errorf("%q was opened and is not printed", want)
		}
	}
	if regexp.MustCompile(`· (\d+ figures|\d+ more curves|Method)`).MatchString(long) {
		t.Error("what was opened is said not to be printed")
	}
	if short, long := len(strings.Fields(short)), len(strings.Fields(long)); long < 2*short {
		t.Errorf("%d words folded, %d opened", short, long)
	}
	if !slices.ContainsFunc(pages, func(p sheetOfPaper) bool { return strings.Contains(p.head(), fmt.Sprintf(" of %d", len(pages))) }) {
		t.Error("no page says how many there are")
	}
}
