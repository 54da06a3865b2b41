package main

import "runtime/debug"

// release is the version that a package was built as (deploy/package sets it); empty in any other build.
var release string

// version names this build: a page of another version loads itself anew.
var version = buildVersion()

func buildVersion() string {
	if release != "" {
		return release
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && len(s.Value) >= 12 {
			return s.Value[:12]
		}
	}
	return info.Main.Version
}
