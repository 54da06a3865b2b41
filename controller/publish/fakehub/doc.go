// Package fakehub stands in for a home-automation hub in tests: it reads discovery documents as strictly as
// the published schemas of the discovery protocol say, builds every entity, and shows its state. It is used by
// tests only.
//
// The rules are those of the hub's public schemas (device and origin, components, sensors, binary sensors,
// covers, buttons, events), with its warnings as findings of their own.
package fakehub
