package web

import (
	"encoding/json"
	"maps"
	"slices"
	"sync"
)

// hub hands news to every page that watches. It never waits for one: a page that does not read loses
// its oldest news, save the newest of each kind that lasts.
type hub struct {
	mu    sync.Mutex
	pages map[*page]struct{}
	last  map[string]news // the newest of each kind that lasts, for a page that comes later
	count int
}

// news is one message to the pages.
type news struct {
	kind  string
	data  []byte // JSON
	count int    // of all news
	lasts bool
}

// kept is how many news wait for a page: a few seconds of motion.
const kept = 64

// streamsMost is how many pages of one browser may watch. A browser opens six connections to a host and
// no more (from memory; so do those in use today): a sixth stream would leave none for a stop.
const streamsMost = 5

// page is one page that watches.
type page struct {
	id      string
	browser string
	news    chan news
	dropped int
	kept    map[string]news // what lasts and was dropped, so that it is older than all that waits
}

func newHub() *hub { return &hub{pages: map[*page]struct{}{}, last: map[string]news{}} }

// join begins to watch; the page first hears the newest of every kind that lasts. It is nil where too
// many pages of that browser watch.
func (h *hub) join(id, browser string) *page {
	p := &page{id: id, browser: browser, news: make(chan news, kept), kept: map[string]news{}}
	h.mu.Lock()
	defer h.mu.Unlock()
	same := 0
	for q := range h.pages {
		if q.browser == browser {
			same++
		}
	}
	if same >= streamsMost {
		return nil
	}
	for _, n := range h.last {
		p.news <- n
	}
	h.pages[p] = struct{}{}
	return p
}

func (h *hub) leave(p *page) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.pages, p)
}

// tell sends news to all. What lasts is kept for pages that join later.
func (h *hub) tell(kind string, v any, lasts bool) {
	data, err := json.Marshal(v)
	if err != nil {
		panic("web: news that is no JSON: " + err.Error())
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.count++
	n := news{kind, data, h.count, lasts}
	if lasts {
		h.last[kind] = n
	}
	for p := range h.pages {
		p.put(n)
	}
}

// put hands a page its news; only tell calls it, under the hub's lock, so after one drop there is room.
func (p *page) put(n news) {
	for {
		select {
		case p.news <- n:
			return
		default:
		}
		select {
		case old := <-p.news:
			if p.dropped++; old.lasts {
				p.kept[old.kind] = old
			}
		default:
		}
	}
}

// takeKept returns what lasts and was dropped, in its order, and forgets it.
func (h *hub) takeKept(p *page) []news {
	h.mu.Lock()
	defer h.mu.Unlock()
	out := slices.SortedFunc(maps.Values(p.kept), func(a, b news) int { return a.count - b.count })
	clear(p.kept)
	return out
}

// watches says whether a page of that mark watches.
func (h *hub) watches(id string) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	for p := range h.pages {
		if p.id == id {
			return true
		}
	}
	return false
}
