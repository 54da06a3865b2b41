//go:build !unix

package api

import "net"

func listenPrivately(path string) (net.Listener, error) { return net.Listen("unix", path) }
