// Package access decides who may do what on the page: one password for setting up, a short PIN for the wall
// tablet, tokens for machines, sessions in a cookie, and the guards that a page on a workshop network needs
// against other pages in the same browser. There is no account and no default password: until a password is
// set, the one-time set-up code printed on the console is the only way in, and the page answers on loopback
// alone.
package access

// Role is what a visitor may do; each includes the ones before it.
type Role uint8

// The roles.
const (
	Nobody Role = iota // may see the page where one enters
	Look               // may see everything
	Call               // may call the air, finish and halt
	Duty               // may press Ready, acknowledge, hold a gate or the collector
	SetUp              // may change the shop file, learn, jog, and set passwords
)

// String is the role's word in the journal.
func (r Role) String() string {
	return [...]string{"nobody", "look", "call", "duty", "set_up"}[min(int(r), 4)]
}
