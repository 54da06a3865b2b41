package access

import (
	"cmp"
	"slices"
)

// What stands beside the password: who may do what without it, and what somebody has confirmed to have read.

// HasPIN reports whether the wall tablet has a PIN.
func (s *Store) HasPIN() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.k.PIN != nil
}

// Named is a token as it is listed: itself it was shown once.
type Named struct {
	Name string
	Role Role
}

// Tokens lists them by name.
func (s *Store) Tokens() []Named {
	s.mu.Lock()
	defer s.mu.Unlock()
	out := make([]Named, 0, len(s.k.Tokens))
	for _, t := range s.k.Tokens {
		out = append(out, Named(t))
	}
	slices.SortFunc(out, func(a, b Named) int { return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.Role, b.Role)) })
	return out
}

// Confirm keeps that somebody has read what the keys name.
func (s *Store) Confirm(keys ...string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, k := range keys {
		if !slices.Contains(s.k.Confirmed, k) {
			s.k.Confirmed = append(s.k.Confirmed, k)
		}
	}
	return s.save()
}

// Unread is what of the keys nobody has confirmed yet.
func (s *Store) Unread(keys []string) []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	var out []string
	for _, k := range keys {
		if !slices.Contains(s.k.Confirmed, k) {
			out = append(out, k)
		}
	}
	return out
}
