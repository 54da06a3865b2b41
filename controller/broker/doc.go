// Package broker keeps one connection to an MQTT broker and carries what package publish makes of the shop.
//
// Nothing here is ever waited for by the control loop: Service.Offer, Link.Put, Link.Tell and Link.Send only
// lay something down. The library is used for one connection at a time; when that is lost a new client is
// made, because a client that reconnects by itself sends what it had queued in any order and so leaves old
// values behind as retained. What is to be said lies in an outbox that holds the newest payload a topic, so a
// broker may be gone for hours and memory does not grow.
//
// Reading order: options, secret, dial (and frame: limits on the wire), outbox, pace, link (supervision),
// session (one connection), flight (messages on their way), echo (does the broker pass on what we say), service (snapshots in, requests out).
package broker
