package analyze

import (
	"runtime"
	"sync"
)

// both asks two questions at once.
func both[T any](f, g func() T) (a, b T) {
	together(func() { a = f() }, func() { b = g() })
	return a, b
}

// together does independent work, as much at once as there are processors. Each piece writes what is
// its own alone, so the answer does not hang on the order.
func together(work ...func()) {
	next := make(chan func(), len(work))
	for _, w := range work {
		next <- w
	}
	close(next)
	var all sync.WaitGroup
	for range min(len(work), runtime.GOMAXPROCS(0)) {
		all.Go(func() {
			for w := range next {
				w()
			}
		})
	}
	all.Wait()
}
