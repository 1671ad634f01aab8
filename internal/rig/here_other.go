//go:build !windows

package rig

// Here returns this PC.
func Here() (*Machine, error) {
	m, err := At("/")
	if err != nil {
		return nil, err
	}
	m.cpuid = true
	return m, nil
}
