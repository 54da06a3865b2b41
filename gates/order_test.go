package gates

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestOpensGoFirstInTheOrderOfRank(t *testing.T) {
	var w Wishes
	w[RankClose] = Of(0, 1)
	w[RankRelief] = Of(2)
	w[RankDown] = Of(3)
	w[RankRunning] = Of(4)
	begin, yield := w.Grant(0, 0, 2)
	assert.Equal(t, Of(3, 4), begin)
	assert.Zero(t, yield)
	begin, _ = w.Grant(0, 0, 4)
	assert.Equal(t, Of(2, 3, 4, 0), begin, "what is left over may close")
	begin, _ = w.Grant(Of(9), 0, 3)
	assert.Equal(t, Of(3, 4), begin, "no gate closes while one waits to open")
}

func TestAClosingGateYieldsToARunningMachine(t *testing.T) {
	var w Wishes
	w[RankRunning] = Of(5, 6)
	begin, yield := w.Grant(0, Of(1, 2), 2)
	assert.Equal(t, Of(5, 6), begin)
	assert.Equal(t, Of(1, 2), yield)

	w = Wishes{RankRelief: Of(5)}
	begin, yield = w.Grant(0, Of(1, 2), 2)
	assert.Zero(t, begin, "air can wait")
	assert.Zero(t, yield)

	w = Wishes{RankRunning: Of(5)}
	begin, yield = w.Grant(Of(1, 2), 0, 2)
	assert.Zero(t, begin|yield, "an opening gate is never stopped for another")
}

func TestAGateThatTurnsRoundKeepsItsPlace(t *testing.T) {
	w := Wishes{RankRunning: Of(1), RankPath: Of(1)}
	begin, yield := w.Grant(0, Of(1, 2), 2)
	assert.Equal(t, Of(1), begin)
	assert.Zero(t, yield)
}
