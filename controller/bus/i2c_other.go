//go:build !linux

package bus

func openAdapter(path string, _ Settings) (adapter, error) {
	return nil, notHere(path, "I2C buses are", "bus")
}
