// Package advice says what would mend a demand that does not carry its chips or does not get its air, and what
// each remedy does to every other demand. It is pure, and nothing in it is canned: each remedy is the shop's own
// network with one thing changed, compiled, planned and judged as the program would; one that does not mend is not
// told, and where none does the advice says so.
//
// Reading order: advice.go (what is told), shop.go (a network tried out), size.go, relief.go, fan.go, hose.go,
// filter.go (the remedies), effect.go (what they do elsewhere), compare.go (two shops, demand by demand), differ.go (what differs between them), most.go, heat.go
// (air that leaves the building), say.go (the sentences).
package advice
