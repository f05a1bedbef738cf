package book

import (
	"maps"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func part(name, sum string, made ...string) Part {
	p := Part{Name: name, File: name + ".stl", SHA256: sum}
	for i := 0; i+1 < len(made); i += 2 {
		if p.Made == nil {
			p.Made = Fields{}
		}
		p.Made[made[i]] = Field(made[i+1])
	}
	return p
}

// What a new revision has, from what its parent had and what is said of it.
func TestPartsFrom(t *testing.T) {
	a := &Revision{Name: "A", Parts: []Part{part("femur", "f1", "material", "PETG", "walls", "4"), part("tibia", "t1"), {Name: "belt", MadeOf: "6 mm"}}}
	for _, c := range []struct {
		name    string
		parent  *Revision
		named   []Part
		without []string
		making  []Making
		want    string // part file-hash (words), in order
		err     string
	}{
		{name: "nothing named: all as before", parent: a, want: "femur f1 (material PETG, walls 4); tibia t1 (); belt  (6 mm)"},
		{name: "a new file starts anew", parent: a, named: []Part{part("femur", "f2")}, want: "femur f2 (); tibia t1 (); belt  (6 mm)"},
		{name: "the parent's very file keeps what it was made of", parent: a, named: []Part{part("femur", "F1")}, want: "femur F1 (material PETG, walls 4); tibia t1 (); belt  (6 mm)"},
		{name: "a part more, a part less", parent: a, named: []Part{part("foot", "x")}, without: []string{"tibia"}, want: "femur f1 (material PETG, walls 4); belt  (6 mm); foot x ()"},
		{name: "the same file, made another way", parent: a, making: []Making{{"femur", "material", "ASA"}}, want: "femur f1 (material ASA, walls 4); tibia t1 (); belt  (6 mm)"},
		{name: "a field taken away", parent: a, making: []Making{{"femur", "walls", ""}}, want: "femur f1 (material PETG); tibia t1 (); belt  (6 mm)"},
		{name: "text and fields beside each other", parent: a, making: []Making{{"belt", "", "9 mm"}, {"belt", "maker's code", "GT 2"}}, want: "femur f1 (material PETG, walls 4); tibia t1 (); belt  (maker's code GT 2, 9 mm)"},
		{name: "a first one has what was named", named: []Part{part("femur", "f1")}, want: "femur f1 ()"},
		{name: "no parts at all", want: ""},
		{name: "named twice", named: []Part{part("femur", "f1"), part("femur", "f2")}, err: `"femur" is named twice`},
		{name: "named and left out", parent: a, named: []Part{part("femur", "f2")}, without: []string{"femur"}, err: "at once"},
		{name: "left out, not there", parent: a, without: []string{"tail"}, err: "there are femur, tibia, belt"},
		{name: "left out twice", parent: a, without: []string{"tibia", "tibia"}, err: "there are femur, belt"},
		{name: "left out of nothing", without: []string{"tail"}, err: "without --from"},
		{name: "made, not there", parent: a, making: []Making{{"tail", "walls", "2"}}, err: `"tail"`},
		{name: "said twice", parent: a, making: []Making{{"femur", "walls", "2"}, {"femur", "walls", "3"}}, err: "walls is said twice"},
		{name: "a name the command line could not name again", named: []Part{{Name: "a:b"}}, err: "= and :"},
		{name: "an empty name", named: []Part{{Name: " "}}, err: "give it a name"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := PartsFrom(c.parent, c.named, c.without, c.making)
			if c.err != "" {
				if err == nil || !strings.Contains(err.Error(), c.err) {
					t.Fatalf("%v", err)
				}
				return
			}
			must(t, err)
			var words []string
			for _, p := range got {
				words = append(words, p.Name+" "+p.SHA256+" ("+p.Words()+")")
			}
			if s := strings.Join(words, "; "); s != c.want {
				t.Errorf("%s\nwant %s", s, c.want)
			}
		})
	}
	if w := a.Parts[0].Words(); w != "material PETG, walls 4" {
		t.Errorf("the parent changed: %s", w)
	}
}

// Where a part became what it is, also over a ring that a hand made.
func TestOrigin(t *testing.T) {
	f := Family{
		{Name: "A", Parts: []Part{part("femur", "1"), part("tibia", "1")}},
		{Name: "B", Parent: "A", Parts: []Part{part("femur", "2"), part("tibia", "1")}},
		{Name: "C", Parent: "B", Parts: []Part{part("femur", "2"), part("tibia", "1", "material", "ASA")}},
		{Name: "D", Parent: "C", Parts: []Part{part("femur", "1"), part("tibia", "1", "material", "ASA")}},
		{Name: "R", Parent: "S", Parts: []Part{part("femur", "9")}},
		{Name: "S", Parent: "R", Parts: []Part{part("femur", "9")}},
		{Name: "O", Parent: "lost", Parts: []Part{part("femur", "2")}},
	}
	for _, c := range []struct{ revision, part, want string }{
		{"A", "femur", "A"}, {"B", "femur", "B"}, {"B", "tibia", "A"}, {"C", "femur", "B"}, {"C", "tibia", "C"},
		{"D", "femur", "D"}, {"D", "tibia", "C"}, {"O", "femur", "O"},
	} {
		if got := f.Origin(c.revision, c.part); got != c.want {
			t.Errorf("%s of %s became what it is in %s, want %s", c.part, c.revision, got, c.want)
		}
	}
	f.Origin("R", "femur") // ends
	es := f.Troubles()
	if len(es) != 2 || !strings.Contains(es[0].Error(), "R comes from itself (R from S from R)") || !strings.Contains(es[1].Error(), `"lost"`) {
		t.Errorf("%v", es)
	}
}

func TestDifferences(t *testing.T) {
	a := Revision{Parts: []Part{part("femur", "1"), part("tibia", "1"), part("spacer", "1"), {Name: "belt"}}}
	b := Revision{Parts: []Part{part("femur", "2"), part("tibia", "1", "walls", "4"), {Name: "belt"}, {Name: "foot"}}}
	want := map[string]string{"femur": "new file", "tibia": "made another way", "belt": "kept", "foot": "added", "spacer": "left out"}
	got := map[string]string{}
	for _, d := range Differences(a, b) {
		got[d.Name] = d.What
		if (d.A == nil) != (d.What == "added") || (d.B == nil) != (d.What == "left out") {
			t.Errorf("%+v", d)
		}
	}
	if !maps.Equal(got, want) {
		t.Errorf("%v", got)
	}
}

func TestRevisionNames(t *testing.T) {
	for _, good := range []string{"A", "B2", "2.1", "long femur", "ü-Bein", `"x"`, "it's", "R42", "2026-b"} {
		if err := CheckRevisionName(good); err != nil {
			t.Errorf("%q: %v", good, err)
		}
	}
	for _, bad := range []string{"", " ", "42", "0042", "1..5", "A..B", "1-5", "0001:0005", "A,B", "-x", "a\nb", "a\xff", " A", "A ", strings.Repeat("x", 41)} {
		if err := CheckRevisionName(bad); err == nil {
			t.Errorf("%q was taken", bad)
		}
	}
}

// Whatever is said of parts is read back from history.toml and from the book as it was said, and a hand
// may write numbers.
func TestFieldsAreKept(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		text := rapid.StringMatching(`[ -~äµ"'\\=\[\]#.]{1,12}`)
		fields := rapid.MapOfN(text, text, 0, 4).Draw(rt, "fields")
		p := Part{Name: text.Draw(rt, "name"), MadeOf: text.Draw(rt, "text"), Modified: day(1)}
		for k, v := range fields {
			if p.Made == nil {
				p.Made = Fields{}
			}
			p.Made[k] = Field(v)
		}
		dir := t.TempDir()
		b, _, err := OpenBook(t.Context(), dir)
		must(t, err)
		defer b.Close()
		must(t, b.AddRevision(t.Context(), Revision{Name: "A", Made: day(0), Parts: []Part{p, {Name: "belt"}}}))
		must(t, b.AddRevision(t.Context(), Revision{Name: "B", Parent: "A", Made: day(1), Parts: []Part{p}}))
		h, err := ReadHistory(dir)
		must(t, err)
		list, err := b.Revisions(t.Context())
		must(t, err)
		if !sameHistory(h, History{Revisions: list}) || len(list) != 2 || !SamePart(list[0].Parts[0], p) || !list[1].Parts[0].Modified.Equal(day(1)) {
			rt.Fatalf("%+v\nbook %+v", h.Revisions, list)
		}
	})
	h, err := parseHistory("h", good+"\n[[revision]]\nname = \"B\"\nmade = 2026-03-02T09:00:00Z\n[[revision.part]]\nname = \"femur\"\n  [revision.part.made]\n  walls = 4\n  infill = 0.4\n  note = \"x\"\n[[revision.part]]\nname = \"tibia\"\nmade = { walls = 2 }\n")
	must(t, err)
	if w := h.Revisions[1].Parts[0].Words(); w != "infill 0.4, note x, walls 4" || len(h.Revisions[1].Parts) != 2 || h.Revisions[1].Parts[1].Words() != "walls 2" {
		t.Errorf("%q %+v", w, h.Revisions[1].Parts)
	}
	// A torn block takes its own fields with it, not those before.
	h, err = parseHistory("h", good+"\n[[revision]]\nname = \"B\"\nmade = 2026-03-02T09:00:00Z\n[[revision.part]]\nname = \"femur\"\n[revision.part.made]\nwalls = 4\n[[serv")
	if err != nil || h.Torn == nil || len(h.Revisions) != 2 || h.Revisions[1].Parts[0].Words() != "walls 4" {
		t.Errorf("%+v %v", h, err)
	}
}
