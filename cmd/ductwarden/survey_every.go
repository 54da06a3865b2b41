package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"ductwarden/controller/airflow"
	"ductwarden/gates"
)

// Beyond airflow.MostCounted gates the patterns that carry are searched for, up to so many of them and so many
// solutions, which take seconds.
const (
	mostCarrying = 100_000
	mostSolves   = 2_000_000
)

// everyPattern is what all patterns of one collector's gates come to.
type everyPattern struct {
	tree     *airTree
	tally    airflow.Tally // with all patterns counted
	counted  bool
	carrying []gates.Set // with the filter loaded: fewest gates first, then the lowest numbers
	complete bool        // none is missing
}

// every looks at all patterns of a tree, every open gate counting as demanded.
func (t *airTree) every(ctx context.Context, p *progress) (everyPattern, error) {
	defer p.done()
	e := everyPattern{tree: t, complete: true}
	if t.model.Gates().Len() > airflow.MostCounted {
		looks := 0
		found, err := t.solver.Carrying(ctx, airflow.Loaded, mostCarrying, mostSolves, func(share float64, carry int) {
			if looks++; looks%1024 == 0 {
				p.say("%.4g %% of the patterns of %d gates decided; %d carry", 100*share, t.model.Gates().Len(), carry)
			}
		})
		if err != nil {
			return e, err
		}
		e.carrying, e.complete = found.Open, found.Complete
	} else {
		census, err := airflow.NewCensus(t.model)
		if err != nil {
			return e, err
		}
		var lock sync.Mutex
		var looked atomic.Int64
		all := int64(1) << t.model.Gates().Len()
		e.counted = true
		e.tally, err = census.Take(ctx, runtime.GOMAXPROCS(0), func(open gates.Set, _, loaded airflow.Glance) {
			if n := looked.Add(1); n%(1<<16) == 0 {
				lock.Lock()
				p.say("pattern %d of %d", n, all)
				lock.Unlock()
			}
			if loaded.Grade == airflow.Carries {
				lock.Lock()
				e.carrying = append(e.carrying, open)
				if len(e.carrying) == 2*mostCarrying { // of millions not all are kept
					e.trim()
				}
				lock.Unlock()
			}
		})
		if err != nil {
			return e, err
		}
	}
	e.trim()
	return e, nil
}

// trim sorts the patterns that carry and keeps no more than are listed.
func (e *everyPattern) trim() {
	slices.SortFunc(e.carrying, func(a, b gates.Set) int { return cmp.Or(cmp.Compare(a.Len(), b.Len()), cmp.Compare(a, b)) })
	if len(e.carrying) > mostCarrying {
		e.carrying, e.complete = e.carrying[:mostCarrying], false
	}
}

// everyOf looks at all patterns of the trees whose patterns are too many to be listed.
func (s *surveyed) everyOf(ctx context.Context, p *progress) ([]everyPattern, error) {
	var out []everyPattern
	for _, t := range s.trees {
		if t.model.Gates().Len() <= mostListed {
			continue
		}
		e, err := t.every(ctx, p)
		if err != nil {
			return nil, err
		}
		out = append(out, e)
	}
	return out, nil
}

// writeEvery says what all patterns come to, for the trees of which only some were listed.
func (s *surveyed) writeEvery(w io.Writer, every []everyPattern) {
	for _, e := range every {
		n := e.tree.model.Gates().Len()
		of := fmt.Sprintf("Of all %d patterns of the %d gates", 1<<n, n)
		if s.many {
			of += " of " + e.tree.model.Network().Name
		}
		switch {
		case e.counted:
			g := e.tally.Loaded
			fmt.Fprintf(w, "%s, %d carry with the filter loaded, %d creep, %d settle", of, g[airflow.Carries], g[airflow.Creeps], g[airflow.Settles])
		case e.complete:
			fmt.Fprintf(w, "%s, %d carry with the filter loaded", of, len(e.carrying))
		default:
			fmt.Fprintf(w, "%s, at least %d carry with the filter loaded; the search ended there", of, len(e.carrying))
		}
		fmt.Fprintf(w, "; --patterns carrying lists them.\n")
	}
}

// carrying lists every pattern that carries with the filter loaded, a line each.
func (s *surveyed) carrying(ctx context.Context, w io.Writer, asJSON bool, p *progress) error {
	if len(s.trees) == 0 {
		return s.writeNotJudged(w)
	}
	out := newLines(w)
	for _, t := range s.trees {
		e, err := t.every(ctx, p)
		if err != nil {
			return err
		}
		for _, open := range e.carrying {
			if row := (treePattern{t, open, airflow.Loaded}); asJSON {
				out.json(s.patternRow(row))
			} else {
				out.text(s.patternLine(row))
			}
		}
		switch {
		case e.complete:
		case asJSON:
			out.json(map[string]any{"collector": t.model.Network().Name, "complete": false, "listed": len(e.carrying)})
		default:
			out.text(fmt.Sprintf("the list ends at %d patterns; there are more", len(e.carrying)))
		}
	}
	return out.Flush()
}
