package main

import "golang.org/x/sys/windows"

// errInUse is the system's word for an address that somebody else listens on.
var errInUse error = windows.WSAEADDRINUSE
