package enum_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"testing"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/valid"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var errTest = errors.New("invalid")

// GlassTint refuses its zero value and has a gap at 2.
type GlassTint uint8

const (
	Clear GlassTint = 1
	Grey  GlassTint = 3
	Amber GlassTint = 4
)

var tints = enum.New[GlassTint](errTest, []string{Clear: "clear", Grey: "neutral grey", Amber: "amber"})

func (g GlassTint) String() string                   { return tints.Name(g) }
func (g GlassTint) MarshalText() ([]byte, error)     { return tints.Marshal(g) }
func (g *GlassTint) UnmarshalText(text []byte) error { return tints.Unmarshal(g, text) }

// Only has one constant, its zero value, and FStop two.
type (
	Only  uint8
	FStop uint8
)

var (
	only  = enum.New[Only](errTest, []string{"default"})
	stops = enum.New[FStop](errTest, []string{"full", "third"})
)

func TestEveryValue(t *testing.T) {
	want := map[GlassTint]string{Clear: "clear", Grey: "neutral grey", Amber: "amber"}
	for i := range 256 {
		g := GlassTint(i)
		c := valid.New("enum_test", errTest)
		tints.Check(c, "window", g)
		text, err := g.MarshalText()
		if name, known := want[g]; known {
			assert.True(t, tints.Known(g))
			assert.Equal(t, name, g.String())
			require.NoError(t, err)
			assert.Equal(t, name, string(text))
			require.NoError(t, c.Err())
			back := GlassTint(200)
			require.NoError(t, back.UnmarshalText(text))
			assert.Equal(t, g, back)
			continue
		}
		assert.False(t, tints.Known(g))
		assert.Nil(t, text)
		assert.ErrorIs(t, err, errTest)
		assert.ErrorIs(t, c.Err(), errTest)
	}
	assert.Equal(t, "GlassTint(0) GlassTint(2) GlassTint(255)", fmt.Sprint(GlassTint(0), GlassTint(2), GlassTint(255)))
}

func TestZeroValueMayBeNamed(t *testing.T) {
	assert.Equal(t, "default", only.Name(0))
	assert.Equal(t, "Only(1)", only.Name(1))
	v := Only(9)
	require.NoError(t, only.Unmarshal(&v, []byte("default")))
	assert.Equal(t, Only(0), v)
}

func TestErrors(t *testing.T) {
	_, err := GlassTint(7).MarshalText()
	assert.EqualError(t, err, "enum_test: glass tint GlassTint(7): must be clear, neutral grey or amber")

	c := valid.New("enum_test", errTest)
	tints.Check(c, "window", 2)
	assert.EqualError(t, c.Err(), "enum_test: window GlassTint(2): must be clear, neutral grey or amber")

	for _, text := range []string{"", "Clear", "clear ", "neutral", "1", "GlassTint(1)"} {
		g := Amber
		err := g.UnmarshalText([]byte(text))
		assert.ErrorIs(t, err, errTest, text)
		assert.ErrorContains(t, err, "must be clear, neutral grey or amber")
		assert.Equal(t, Amber, g, "an error must leave the value as it was")
	}
	g := Amber
	assert.EqualError(t, g.UnmarshalText([]byte("blue")), `enum_test: glass tint "blue": must be clear, neutral grey or amber`)
	assert.EqualError(t, only.Unmarshal(new(Only), nil), `enum_test: only "": must be default`)
	assert.EqualError(t, stops.Unmarshal(new(FStop), []byte("half")), `enum_test: f stop "half": must be full or third`)
	assert.ErrorIs(t, (*GlassTint)(nil).UnmarshalText([]byte("clear")), errTest)
}

func TestJSON(t *testing.T) {
	type window struct {
		Tint  GlassTint
		Count map[GlassTint]int
	}
	want := window{Grey, map[GlassTint]int{Clear: 2}}
	data, err := json.Marshal(want)
	require.NoError(t, err)
	assert.Equal(t, `{"Tint":"neutral grey","Count":{"clear":2}}`, string(data))
	var got window
	require.NoError(t, json.Unmarshal(data, &got))
	assert.Equal(t, want, got)
	_, err = json.Marshal(window{})
	assert.ErrorIs(t, err, errTest)
}
