// Package controller is the brain: event in, effects out. It is pure: no clock, no goroutine, no I/O. The same
// events at the same times give the same effects, on every processor.
//
// Reading order: event.go and condition.go (the words), shop.go (what does not change), state.go (what is
// remembered), step.go (one turn), sense.go and request.go (what events and requests do), demand.go (who wants air),
// wish.go and path.go (what gates should do, and that a turning fan has a way), start.go, power.go, clear.go and
// budget.go (the collector), show.go and standing.go (outputs, what is wrong), picture.go (what people are shown),
// key.go (the state as bytes).
//
// The rooms, in reading order:
//
//	plan              which gates for this demand, and why (pure)
//	airflow           duct network, losses, fan, solver, verdict (pure)
//	airflow/fit       the model brought to readings (uses a numerical library)
//	airflow/takeoff   what must be bought and cut (pure)
//	airflow/advice    what would mend a demand, and what it does to the others (pure)
//	cautions          what a person must know before the shop hurts somebody, from one source (pure)
//	alarm             the alarm list as data, and the life of each alarm (pure)
//	transcript        the language of shop-day scripts (pure)
//	loop              scheduler, inputs, outputs, watchdog, the file of starts; one goroutine owns the state
//	bus               I2C, SPI and lines on Linux, one owner each; knows no chip
//	bus/posing        a device that poses as an I2C bus or as lines, for tests of the real interface
//	starter           the collector's motor: a pulsed line, a level line, momentary buttons, a remote socket
//	starter/chargepump  the circuit behind a pulsed line, for simulation
//	bench             learn, jog, listen, draft: procedures that the command line and the page share
//	journal           SQLite: events, changes, hours, marks
//	publish           snapshot -> messages and metrics (pure)
//	publish/metrics   the same figures for a time-series scraper
//	publish/fakehub   a home-automation hub that tests speak to
//	broker            one broker connection and its supervision
//	broker/brokertest a real broker, started for tests
//	layout            where each duct of a tree stands on a drawing (pure)
//	report            a survey as plain data, and as a page for screen and paper
//	panel             the page
//	panel/api         one API on TCP and on the console socket
//	panel/access      passwords, sessions, roles, guards
//	panel/plot        what happened over time, as drawings
//	panel/browsertest a real browser for tests of pages
//	panel/plot        curves of what was, drawn on the server
//	simshop           a simulated shop composed of the chips' register models
package controller
