// Package publish turns snapshots of the shop into MQTT messages, and MQTT messages into requests. It is
// pure: no clock, no connection; the moment comes as an argument, package broker carries the messages.
//
// Reading order: topics (where everything lies), message, shop (what exists), fields and state (a snapshot as
// flat documents), outlet (what of it is new), event (what happened between two snapshots), tally (hours,
// starts and moves), entity and discovery (the documents that let a home-automation hub find the shop),
// manifest (what was announced before and is gone), request and admission (what others may ask), samples
// (the same figures for a time-series scraper).
package publish
