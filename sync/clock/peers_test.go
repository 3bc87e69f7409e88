package clock_test

import (
	"encoding/csv"
	"fmt"
	"math/bits"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/clock"
	"example.com/platewright/sync/internal/trial"
	"github.com/stretchr/testify/require"
)

// table reads a file of testdata/sync without its head.
func table(t *testing.T, name string, rows int) [][]string {
	root, err := ref.ModuleRoot()
	require.NoError(t, err)
	f, err := os.Open(filepath.Join(root, "testdata", "sync", name))
	require.NoError(t, err)
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(all), rows)
	return all[1:]
}

func timecodeOf(rate, drop string) clock.Timecode {
	return timecode(trial.Must(timing.ParseRate(rate)), trial.Must(strconv.ParseBool(drop)))
}

func TestLabelsOfPeers(t *testing.T) {
	for _, row := range table(t, "labels.csv", 3000) {
		tc, n, label := timecodeOf(row[1], row[2]), trial.Must(strconv.ParseInt(row[3], 10, 64)), row[4]
		ref.Equal(t, "T-TC-PEERS", tc.Format(n), label, row)
		ref.Equal(t, "T-TC-PEERS", trial.Must(tc.Parse(label)), n, row)
	}
}

func TestWordsOfPeers(t *testing.T) {
	for _, row := range table(t, "words.csv", 1000) {
		tc, label := timecodeOf(row[0], row[1]), row[2]
		packing := clock.SixtyField
		if row[0] == "25" || row[0] == "50" {
			packing = clock.FiftyField
		}
		n := trial.Must(tc.Parse(label))
		w := trial.Must(tc.Word(n))
		word := trial.Must(w.Pack(packing))
		ref.Equal(t, "T-WORD-PEER", fmt.Sprintf("%#08x", bits.ReverseBytes32(word)), row[3], row)
		back := trial.Must(clock.Unpack(word, packing))
		ref.Equal(t, "T-WORD-PEER", back, w, row)
		ref.Equal(t, "T-WORD-PEER", trial.Must(tc.WordFrame(back)), n, row)
	}
}

func TestLeapSecondsOfPeer(t *testing.T) {
	var leaps clock.LeapTable
	for _, row := range table(t, "leaps.csv", 150) {
		m := trial.Must(leaps.AtPTP(trial.Seconds(trial.Must(strconv.ParseInt(row[0], 10, 64)), 1)))
		ref.Equal(t, "T-LEAP-PEER", m.String(), row[1])
		ref.Equal(t, "T-LEAP-PEER", trial.Must(leaps.Parse(row[1])), m, row)
		if !m.LeapSecond {
			ref.Equal(t, "T-LEAP-PEER", trial.Must(leaps.AtTime(m.Time())), m, row)
		}
	}
}
