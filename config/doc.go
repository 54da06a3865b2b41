// Package config reads a shop file: YAML in, a checked Shop with plain SI values out, or every problem at
// once with its line and column. It knows the words of the file and the rules between its parts; it moves
// nothing and opens nothing but the file. Load is the one validator for check, start and reload.
//
// Reading order: shop.go and parts.go (what comes out), load.go (the way through), reader.go and walk.go (keys and
// positions), read_*.go (one section a file), resolve.go (names to places), cross.go and uses.go (rules between parts),
// build.go (values for airflow and the core), quantity.go (units).
package config
