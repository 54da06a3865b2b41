package api

import (
	"fmt"
	"net/http"

	"ductwarden/controller/panel/access"
)

// Actions are what can be asked for, with the least role that may. Stopping is for everybody who may call the air.
var Actions = map[string]access.Role{
	"finish": access.Call, "halt": access.Call, "call_air": access.Call,
	"ready": access.Duty, "acknowledge": access.Duty, "hold_gate": access.Duty, "gate": access.Duty, "collector": access.Duty, "shelve": access.Duty,
	"bin_emptied": access.Duty, "filter_cleaned": access.Duty, "filter_replaced": access.Duty,
	"reload": access.SetUp,
}

// request takes one request. 200 accepted, 409 refused by the rules of control with the reason, 4xx not understood.
func (s *Server) request(w http.ResponseWriter, r *http.Request) {
	var q Request
	if !read(w, r, mostBody, &q) {
		return
	}
	need, known := Actions[q.Action]
	switch role := s.role(r); {
	case !known:
		refuse(w, http.StatusBadRequest, fmt.Sprintf("there is no action %q", q.Action))
		return
	case role < need:
		refuse(w, http.StatusForbidden, needs(need))
		return
	}
	if q.Action == "ready" && s.Who != nil {
		if n := s.unread(); n > 0 {
			refuse(w, http.StatusConflict, fmt.Sprintf("%d cautions have not been read yet: tick them on the set-up page, once for this shop", n))
			return
		}
	}
	q.Role = s.word(r)
	a := s.Desk.Ask(r.Context(), q)
	if !a.Accepted {
		reply(w, http.StatusConflict, a)
		return
	}
	reply(w, http.StatusOK, a)
}

// unread counts the cautions that nobody has ticked.
func (s *Server) unread() int {
	if s.Store == nil {
		return 0
	}
	return len(s.Store.Unread(s.MustRead))
}
