package access

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base32"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"
)

// Lengths and times. The figures follow OWASP ASVS 5.0 (6.2.1 and 6.2.9 password lengths, 6.4.1 set-up code,
// 7.1.1 and 7.3 session times, documented here as the standard asks).
const (
	LeastPassword = 8
	MostPassword  = 256
	LeastPIN      = 4
	MostPIN       = 12
	CodeLife      = 15 * time.Minute
	IdleLife      = 12 * time.Hour
	FullLife      = 30 * 24 * time.Hour
	mostSessions  = 64
	mostTokens    = 32
)

// Errors that a visitor may see; each says what to do.
var (
	ErrBusy     = errors.New("another login is being checked; try again in a moment")
	ErrWrong    = errors.New("that is not right; check it and try again")
	ErrWait     = errors.New("too many wrong tries; wait a minute, or use the console")
	ErrNoCode   = errors.New("the set-up code has run out or was used; run `ductwarden setup-code` on the console for a new one")
	ErrShort    = fmt.Errorf("a password has at least %d characters; three or four unrelated words are easy to keep", LeastPassword)
	ErrLong     = fmt.Errorf("a password has at most %d characters", MostPassword)
	ErrCommon   = errors.New("that password is among the first that anybody tries; choose another")
	ErrPIN      = fmt.Errorf("a PIN has %d to %d digits", LeastPIN, MostPIN)
	ErrNotSetUp = errors.New("no password is set yet; open the page on this machine and enter the set-up code from the console")
)

// secret is a salted argon2id hash.
type secret struct {
	Salt []byte `json:"salt"`
	Hash []byte `json:"hash"`
}

// hash spends 19 MiB and two passes (OWASP's least recommendation for argon2id, from memory), little enough for
// the smallest board.
func hash(word string, salt []byte) []byte {
	return argon2.IDKey([]byte(word), salt, 2, 19*1024, 1, 32)
}

func newSecret(word string) *secret {
	salt := random(16)
	return &secret{Salt: salt, Hash: hash(word, salt)}
}

func (s *secret) is(word string) bool {
	return s != nil && subtle.ConstantTimeCompare(s.Hash, hash(word, s.Salt)) == 1
}

// session is one logged-in browser; only the hash of its cookie is kept.
type session struct {
	Role  Role      `json:"role"`
	Began time.Time `json:"began"`
	Seen  time.Time `json:"seen"`
}

type token struct {
	Name string `json:"name"`
	Role Role   `json:"role"`
}

// kept is the file's content.
type kept struct {
	Password *secret            `json:"password,omitempty"`
	PIN      *secret            `json:"pin,omitempty"`
	Sessions map[string]session `json:"sessions,omitempty"` // by hex SHA-256 of the cookie
	Tokens   map[string]token   `json:"tokens,omitempty"`   // by hex SHA-256 of the token
	Code     string             `json:"code,omitempty"`     // hex SHA-256 of the set-up code
	CodeEnds time.Time          `json:"code_ends,omitzero"`
	// Confirmed are the keys of cautions that somebody has ticked.
	Confirmed []string `json:"confirmed,omitempty"`
}

// Store keeps passwords, sessions and tokens in one file of mode 0600. Its methods may be called from any
// goroutine. Wall time is used on purpose: sessions outlive a restart, and control never looks here.
type Store struct {
	path string
	now  func() time.Time
	mu   sync.Mutex
	k    kept

	checking chan struct{} // one argon2 at a time: more would starve a small board
	tries    tries
}

// Open reads the file, or starts with an empty store where there is none. path "" keeps all in memory (a
// rehearsal). A damaged file is an error: starting without its password would open the page to anybody.
func Open(path string, now func() time.Time) (*Store, error) {
	s := &Store{path: path, now: now, checking: make(chan struct{}, 1)}
	s.k.Sessions, s.k.Tokens = map[string]session{}, map[string]token{}
	if path == "" {
		return s, nil
	}
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return s, nil
	}
	if err != nil {
		return nil, fmt.Errorf("access file: %w; give the service's user permission to read it", err)
	}
	if err := json.Unmarshal(b, &s.k); err != nil {
		return nil, fmt.Errorf("access file %s is damaged (%v): delete it, then set a new password with the set-up code", path, err)
	}
	if s.k.Sessions == nil {
		s.k.Sessions = map[string]session{}
	}
	if s.k.Tokens == nil {
		s.k.Tokens = map[string]token{}
	}
	return s, nil
}

// save writes the file anew beside the old one and swaps them, so that a cut leaves one of the two.
func (s *Store) save() error {
	if s.path == "" {
		return nil
	}
	b, err := json.Marshal(s.k)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(s.path), 0o700); err != nil {
		return fmt.Errorf("access file: %w", err)
	}
	f, err := os.CreateTemp(filepath.Dir(s.path), ".access-*")
	if err != nil {
		return fmt.Errorf("access file: %w", err)
	}
	defer os.Remove(f.Name())
	_, err = f.Write(b)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), s.path)
	}
	if err != nil {
		return fmt.Errorf("access file: %w", err)
	}
	return nil
}

// HasPassword reports whether somebody has set the page up.
func (s *Store) HasPassword() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.k.Password != nil
}

// NewCode makes a one-time set-up code for the console, in groups that are easy to read out. It lives 15
// minutes; a new one replaces the old.
func (s *Store) NewCode() (string, error) {
	code := strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(random(10)))
	s.mu.Lock()
	defer s.mu.Unlock()
	s.k.Code, s.k.CodeEnds = sum(code), s.now().Add(CodeLife)
	return code[:4] + "-" + code[4:8] + "-" + code[8:12] + "-" + code[12:16], s.save()
}

// SetUp sets the first or a forgotten password with the set-up code and opens a session. All older sessions
// end.
func (s *Store) SetUp(from, code, password string) (cookie string, err error) {
	if err := goodPassword(password); err != nil {
		return "", err
	}
	if err := s.tries.allow(from, s.now()); err != nil {
		return "", err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.k.Code == "" || s.now().After(s.k.CodeEnds) {
		return "", ErrNoCode
	}
	given := sum(strings.ToLower(strings.NewReplacer("-", "", " ", "").Replace(code)))
	if subtle.ConstantTimeCompare([]byte(given), []byte(s.k.Code)) != 1 {
		s.tries.failed(from, s.now())
		return "", ErrWrong
	}
	s.tries.passed(from)
	s.k.Code, s.k.CodeEnds = "", time.Time{}
	s.k.Password = newSecret(password)
	s.k.Sessions = map[string]session{}
	return s.open(SetUp)
}

// Login checks the password, or the PIN for the duties of the wall tablet, and opens a session. One check runs
// at a time; a second is refused at once with ErrBusy.
func (s *Store) Login(from, word string) (cookie string, role Role, err error) {
	select {
	case s.checking <- struct{}{}:
		defer func() { <-s.checking }()
	default:
		return "", Nobody, ErrBusy
	}
	if err := s.tries.allow(from, s.now()); err != nil {
		return "", Nobody, err
	}
	s.mu.Lock()
	password, pin := s.k.Password, s.k.PIN
	s.mu.Unlock()
	if password == nil {
		return "", Nobody, ErrNotSetUp
	}
	switch { // outside the lock: a slow check must not hold up those who are already in
	case len(word) <= MostPassword && password.is(word):
		role = SetUp
	case len(word) <= MostPIN && pin.is(word):
		role = Duty
	default:
		s.tries.failed(from, s.now())
		return "", Nobody, ErrWrong
	}
	s.tries.passed(from)
	s.mu.Lock()
	defer s.mu.Unlock()
	cookie, err = s.open(role)
	return cookie, role, err
}

// open makes a session; the caller holds the lock.
func (s *Store) open(role Role) (string, error) {
	for len(s.k.Sessions) >= mostSessions {
		oldest, when := "", time.Time{}
		for k, v := range s.k.Sessions {
			if oldest == "" || v.Seen.Before(when) {
				oldest, when = k, v.Seen
			}
		}
		delete(s.k.Sessions, oldest)
	}
	cookie := hex.EncodeToString(random(32))
	now := s.now()
	s.k.Sessions[sum(cookie)] = session{Role: role, Began: now, Seen: now}
	return cookie, s.save()
}

// Session returns the role of a cookie, Nobody where it is unknown or has run out.
func (s *Store) Session(cookie string) Role {
	s.mu.Lock()
	defer s.mu.Unlock()
	k := sum(cookie)
	v, ok := s.k.Sessions[k]
	now := s.now()
	if !ok || now.Sub(v.Seen) > IdleLife || now.Sub(v.Began) > FullLife {
		delete(s.k.Sessions, k)
		return Nobody
	}
	v.Seen = now // kept in memory only: a write at every request would wear the card
	s.k.Sessions[k] = v
	return v.Role
}

// Logout ends the session of a cookie.
func (s *Store) Logout(cookie string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.k.Sessions, sum(cookie))
	return s.save()
}

// SetPassword changes the password; the present one is asked again. Other sessions end.
func (s *Store) SetPassword(from, present, next string) (cookie string, err error) {
	if err := goodPassword(next); err != nil {
		return "", err
	}
	_, role, err := s.Login(from, present)
	if err != nil {
		return "", err
	}
	if role != SetUp {
		return "", ErrWrong
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.k.Password = newSecret(next)
	s.k.Sessions = map[string]session{}
	return s.open(SetUp)
}

// SetPIN sets or, with "", removes the wall tablet's PIN.
func (s *Store) SetPIN(pin string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if pin == "" {
		s.k.PIN = nil
		return s.save()
	}
	if len(pin) < LeastPIN || len(pin) > MostPIN || strings.Trim(pin, "0123456789") != "" {
		return ErrPIN
	}
	s.k.PIN = newSecret(pin)
	return s.save()
}

// NewToken makes a token for a program that uses the API; it is shown once.
func (s *Store) NewToken(name string, role Role) (string, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.k.Tokens) >= mostTokens {
		return "", fmt.Errorf("there are %d tokens already: remove one that nobody uses", mostTokens)
	}
	t := hex.EncodeToString(random(24))
	s.k.Tokens[sum(t)] = token{Name: name, Role: min(role, Duty)}
	return t, s.save()
}

// Token returns the role of a token, Nobody where it is unknown.
func (s *Store) Token(t string) Role {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.k.Tokens[sum(t)].Role
}

// RemoveToken takes a token back by its name and reports whether there was one.
func (s *Store) RemoveToken(name string) (bool, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	found := false
	for k, v := range s.k.Tokens {
		if v.Name == name {
			delete(s.k.Tokens, k)
			found = true
		}
	}
	return found, s.save()
}

// Reset forgets everything; the console's way back in.
func (s *Store) Reset() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.k = kept{Sessions: map[string]session{}, Tokens: map[string]token{}}
	return s.save()
}

// common are passwords that fall at once. A handful of patterns stands for the long lists: a word of the
// trade, rows of keys, repeated or counted characters.
var common = []string{"password", "passwort", "12345678", "123456789", "1234567890", "qwertyuiop", "qwertzuiop", "ductwarden",
	"woodshop", "workshop", "sawdust", "letmein1", "iloveyou", "11111111", "00000000", "abcdefgh", "dustcollector", "administrator"}

func goodPassword(p string) error {
	switch n := utf8.RuneCountInString(p); {
	case n < LeastPassword:
		return ErrShort
	case len(p) > MostPassword:
		return ErrLong
	}
	low := strings.ToLower(p)
	for _, c := range common {
		if low == c || strings.Trim(low, "0123456789!?. ") == c {
			return ErrCommon
		}
	}
	if strings.Count(low, low[:1]) == len(low) {
		return ErrCommon
	}
	return nil
}

func random(n int) []byte {
	b := make([]byte, n)
	rand.Read(b) // never fails: the runtime stops the program rather than return less
	return b
}

func sum(s string) string {
	h := sha256.Sum256([]byte(s))
	return hex.EncodeToString(h[:])
}
