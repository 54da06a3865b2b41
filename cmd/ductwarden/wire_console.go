package main

import (
	"net"
	"net/http"

	"ductwarden/controller"
)

// serveConsole answers on the console socket: the same API as the page's, with the rights of whoever may open the
// socket file.
func serveConsole(l net.Listener, d *daemon) *http.Server {
	s := d.api(controller.FromConsole)
	s.Role = "console"
	return s.Serve(l)
}
