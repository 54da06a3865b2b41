package main

// beside tells the page, in sentences, what works beside the control and does not, and what upkeep is due: the
// shop goes on all the same.
func beside(network *published, unpublished error, book *scribe) func() []string {
	return func() (out []string) {
		switch {
		case unpublished != nil:
			out = append(out, "Home automation is off: "+unpublished.Error()+".")
		case network != nil:
			out = append(out, network.trouble()...)
		}
		if book != nil {
			if why := book.journal.Failing(); why != "" {
				out = append(out, "The journal cannot be written: "+why+".")
			}
			if due := book.due.Load(); due != nil {
				out = append(out, *due...)
			}
		}
		return out
	}
}
