package web

import (
	"context"
	"net/http"

	"limbgauge/analyze/book"
)

// problemsView is every problem by where it stands, what is open first.
type problemsView struct {
	Groups []problemGroup
	All    int
}

type problemGroup struct {
	State    book.State
	Problems []problemLine
}

type problemLine struct {
	book.Problem
	Brought string // the revision that brought it
}

func (s *server) problems(ctx context.Context, _ *http.Request) (any, error) {
	return withBook(ctx, s, func(b *book.Book) (v problemsView, err error) {
		list, err := b.Problems(ctx)
		if err != nil {
			return v, err
		}
		v.All = len(list)
		for _, state := range []book.State{book.Open, book.Returned, book.Answered, book.Cured} {
			g := problemGroup{State: state}
			for _, p := range list {
				if p.State != state {
					continue
				}
				by, err := b.BroughtBy(ctx, p)
				if err != nil {
					return v, err
				}
				g.Problems = append(g.Problems, problemLine{p, by})
			}
			if len(g.Problems) > 0 {
				v.Groups = append(v.Groups, g)
			}
		}
		return v, nil
	})
}
