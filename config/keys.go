package config

import "slices"

// Keys lists the path of every key that a shop file may have, in the order of reading: "gates[].actuator.servo.open".
// A * stands for a name that the person chooses.
func Keys() []string {
	list, _ := accepted()
	return list
}

// accepted lists the keys, and for each scalar what it takes: bounds or words.
func accepted() (list []string, takes map[string]string) {
	r := newReader("")
	takes = map[string]string{}
	r.listing = func(path, what string) {
		if !slices.Contains(list, path) {
			list = append(list, path)
		}
		if what != "" && takes[path] == "" {
			takes[path] = what
		}
	}
	r.shop(nil)
	return list, takes
}
