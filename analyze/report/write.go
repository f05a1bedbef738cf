package report

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"os"
	"path/filepath"
	"strings"
)

//go:embed page.html joint.html rest.html
var pages embed.FS

//go:embed page.css
var pageCSS string

//go:embed print.css
var printCSS string

//go:embed plot.css
var plotCSS string

// CSS returns the style sheet of Record and of all drawings, in light, dark and print.
func CSS() string { return plotCSS + pageCSS + printCSS }

// page is what page.html is filled with.
type page struct {
	CSS, Margins  template.CSS
	Title, Banner string
	RunID         string
	Head          headline
	Findings      []findingView
	Overview      bool // of the joints; the findings of a single one say it all
	Joints        []jointView
	Revision      *revisionView
	RevisionName  string
	Problems      []problemView
	Compare       *compareView
	Facts         []Fact
	Conditions    []Fact
	Calibration   []Fact
	Losses        []lossView
	NoLoss        string
	Note          string
	Cautions      []string
	Sources       []sourceView
}

// HTML writes the report as one page. The page is made whole before anything is written, so an error
// of the document leaves w untouched.
func HTML(w io.Writer, d *Document) error { return fill(w, "page.html", d) }

// Record returns what stands within the report's page, for a page of another server: heading and
// sections, to be dressed by CSS and, for its signs, to stand below Shapes.
func Record(d *Document) (template.HTML, error) {
	var b strings.Builder
	err := fill(&b, "record", d)
	return template.HTML(b.String()), err
}

// Shapes returns the symbols that signs refer to, once for a page.
func Shapes() (template.HTML, error) {
	t, err := template.ParseFS(pages, "*.html")
	if err != nil {
		return "", fmt.Errorf("parse the report's page: %w", err)
	}
	var b strings.Builder
	err = t.ExecuteTemplate(&b, "shapes", nil)
	return template.HTML(b.String()), err
}

// Headline sums a run up in a sign and a sentence.
func Headline(d *Document) (Sign, string) {
	h := headlineOf(d)
	return h.Mark, h.Sentence
}

// NextStep says what to do about what a run says.
func NextStep(d *Document) string { return headlineOf(d).Next }

func fill(w io.Writer, name string, d *Document) error {
	t, err := template.ParseFS(pages, "*.html")
	if err != nil {
		return fmt.Errorf("parse the report's page: %w", err)
	}
	title := "Run " + first(clean(d.runID()), "without a number")
	if leg := clean(d.leg()); leg != "" {
		title = "Leg " + leg + ", " + lower(title)
	}
	p := page{CSS: template.CSS(CSS()), Margins: Margins(d), Title: title, Banner: timeWords(d.Run.Started), RunID: clean(d.runID()),
		Head: headlineOf(d), Revision: revisionOf(d.Revision), RevisionName: clean(d.revision()),
		Problems: problemsOf(d.Problems), Compare: comparisonOf(d.Comparison), Facts: factsOf(d),
		Conditions: cleanFacts(d.Run.Conditions), Calibration: cleanFacts(d.Run.Calibration), Losses: lossesOf(d.Run.Joints), NoLoss: noLoss(d.Run.Joints),
		Note: clean(d.Run.Note), Cautions: Cautions(), Sources: sourcesOf(d.Health)}
	p.Joints, p.Findings = jointViews(d)
	if name != "record" { // a file has no bench to run joints on
		for i := range p.Findings {
			p.Findings[i].Again = nil
		}
	}
	p.Overview = len(p.Joints) > 1 || len(p.Joints) == 1 && len(p.Findings) == 0
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, name, p); err != nil {
		return fmt.Errorf("fill the report's page: %w", err)
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("write the report: %w", err)
	}
	return nil
}

// WriteFile writes the report to a file that is there whole or not at all: a temporary file in the
// same folder, fsync, rename, fsync of the folder. A report that was there before stays until then.
func WriteFile(path string, d *Document) (err error) {
	dir := filepath.Dir(path)
	f, err := os.CreateTemp(dir, "."+filepath.Base(path)+".*")
	if err != nil {
		return fmt.Errorf("write %s: the folder %s can not be written to: %w", path, dir, errors.Unwrap(err))
	}
	defer func() {
		if err != nil {
			f.Close() // after a failed close this fails again, which says nothing new
			os.Remove(f.Name())
		}
	}()
	if err = HTML(f, d); err != nil {
		return err
	}
	// CreateTemp makes files only the owner can read; a report is for others too.
	if err = f.Chmod(0o644); err != nil {
		return fmt.Errorf("set the rights of the report: %w", err)
	}
	if err = f.Sync(); err != nil {
		return fmt.Errorf("bring the report to disk: %w", err)
	}
	if err = f.Close(); err != nil {
		return fmt.Errorf("close the report: %w", err)
	}
	if err = os.Rename(f.Name(), path); err != nil {
		return fmt.Errorf("put the report in place: %w", err)
	}
	folder, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("open the folder of the report: %w", err)
	}
	defer folder.Close()
	if err := folder.Sync(); err != nil {
		return fmt.Errorf("bring the folder of the report to disk: %w", err)
	}
	return nil
}
