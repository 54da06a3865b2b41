package api

import (
	"crypto/sha256"
	"encoding/hex"
	"net/http"

	"ductwarden/controller/bench"
)

const mostFile = 240 << 10 // bytes of a shop file in the editor, below the guard's limit of a body

// ShopText is the body of GET /api/v1/shop.
type ShopText struct {
	Text string `json:"text"`
	Sum  string `json:"sum"` // of this text; a change names what it began from
}

// Edit is a changed shop file.
type Edit struct {
	Text string `json:"text"`
	From string `json:"from,omitempty"` // sum of the text that it began from
}

// Checked is what there is to say of an edited file.
type Checked struct {
	OK       bool      `json:"ok"`
	Problems []Problem `json:"problems"`
	Diff     string    `json:"diff"` // from the file as it stands
	Saved    bool      `json:"saved"`
	Sum      string    `json:"sum"`    // of the file as it stands now
	Reason   string    `json:"reason"` // what comes next, or why it was not saved
}

func sumOf(text []byte) string {
	h := sha256.Sum256(text)
	return hex.EncodeToString(h[:])
}

func (s *Server) shop(w http.ResponseWriter, _ *http.Request) {
	text, err := s.File.Text()
	if err != nil {
		refuse(w, http.StatusServiceUnavailable, err.Error())
		return
	}
	reply(w, http.StatusOK, ShopText{string(text), sumOf(text)})
}

func (s *Server) checkShop(w http.ResponseWriter, r *http.Request) {
	if _, c, ok := s.checked(w, r); ok {
		reply(w, http.StatusOK, c)
	}
}

func (s *Server) checked(w http.ResponseWriter, r *http.Request) (e Edit, c Checked, ok bool) {
	if !read(w, r, mostFile, &e) {
		return e, c, false
	}
	now, err := s.File.Text()
	if err != nil {
		refuse(w, http.StatusServiceUnavailable, err.Error())
		return e, c, false
	}
	c = Checked{Problems: append([]Problem{}, s.File.Check([]byte(e.Text))...), Diff: bench.Diff(now, []byte(e.Text)), Sum: sumOf(now)}
	c.OK = len(c.Problems) == 0
	return e, c, true
}

// saveShop puts the edited file in the place of the one it began from. A file that is not in order is not saved:
// the next start would be without it.
func (s *Server) saveShop(w http.ResponseWriter, r *http.Request) {
	e, c, ok := s.checked(w, r)
	switch {
	case !ok:
		return
	case !c.OK:
		c.Reason = "it is not saved: put right what is marked first"
	case e.From != c.Sum:
		c.Reason = "it is not saved: the file has been changed by somebody else meanwhile; read it again"
	case c.Diff == "":
		c.Reason = "there is nothing to save: the file says the same already"
	default:
		if err := s.File.Replace([]byte(e.Text)); err != nil {
			refuse(w, http.StatusServiceUnavailable, err.Error())
			return
		}
		s.witness(r, "the shop file was changed")
		c.Saved, c.Sum = true, sumOf([]byte(e.Text))
		c.Reason = "saved; it takes effect when it is loaded into the running shop, or at the next start"
	}
	code := http.StatusOK
	if !c.Saved {
		code = http.StatusConflict
	}
	reply(w, code, c)
}
