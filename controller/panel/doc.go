// Package panel is the page: read from three metres, worked with dusty hands. It is served by the daemon itself. What
// it shows and asks goes through the API in panel/api, whose small interfaces are all that it knows of the house.
//
// Reading order: shop.go (what is drawn), server.go (routes, roles), live.go (the stream), draw.go, air.go, past.go
// (the pages that need more than a template), page/ (templates), static/ (looks and scripts), text/ (words).
package panel
