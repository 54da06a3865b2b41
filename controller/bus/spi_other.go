//go:build !linux

package bus

func canOpen(what, path, _, _, _ string) error {
	return notHere(path, "an "+what+" is", "bus")
}
