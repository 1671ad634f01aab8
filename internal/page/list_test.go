package page

import (
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/assist"
)

func TestEmptyList(t *testing.T) {
	d := get(t, serve(t, newFake()), "/")
	require.Contains(t, text(d.id("main")), "No sessions yet.")
	require.Equal(t, []string{"desktop"}, []string{attr(d.named("flow")[0], "value")})
}

func TestChoosingAFlow(t *testing.T) {
	g := newFake()
	g.flows = append(g.flows, assist.FlowInfo{Name: "own", Title: "My own flow"})
	d := get(t, serve(t, g), "/")
	require.Len(t, d.named("flow"), 2)
	require.True(t, has(d.id("flow-0"), "checked"))
}

func TestStart(t *testing.T) {
	g := newFake()
	e := serve(t, g)
	form := url.Values{"key": {"k"}, "flow": {"desktop"}, "title": {"Attic PC"}, "kind": {"real"}}
	for range 2 {
		d := post(t, e, "/sessions", form)
		require.Equal(t, http.StatusSeeOther, d.status)
		require.Equal(t, "/s/new1#step", d.header.Get("Location"))
	}
	require.Equal(t, []assist.StartRequest{{Flow: "desktop", Title: "Attic PC"}}, g.started, "a double click begins one session")
}

func TestStartPractice(t *testing.T) {
	g := newFake()
	e := serve(t, g)
	form := url.Values{"key": {"a"}, "flow": {"desktop"}, "kind": {"practice"}, "seed": {"12"}}
	require.Equal(t, http.StatusSeeOther, post(t, e, "/sessions", form).status)
	require.Equal(t, uint64(12), g.started[0].Practice.Seed)
	require.Equal(t, "own", g.started[0].Practice.Variant)
	form.Set("key", "b")
	form.Set("seed", "")
	require.Equal(t, http.StatusSeeOther, post(t, e, "/sessions", form).status)
	require.NotNil(t, g.started[1].Practice)

	form.Set("key", "c")
	form.Set("seed", "a few")
	form.Set("title", "Kept title")
	d := post(t, e, "/sessions", form)
	require.Equal(t, http.StatusUnprocessableEntity, d.status)
	require.Equal(t, "a few", attr(d.id("seed"), "value"))
	require.Equal(t, "Kept title", attr(d.id("title"), "value"))
	require.Contains(t, d.raw, `href="#seed"`)
}

func TestStartRefused(t *testing.T) {
	d := post(t, serve(t, newFake()), "/sessions", url.Values{"key": {"k"}, "flow": {"desktop"}, "title": {"refuse"}, "kind": {"real"}})
	require.Equal(t, http.StatusUnprocessableEntity, d.status)
	require.Equal(t, "refuse", attr(d.id("title"), "value"))
	require.Contains(t, d.raw, `href="#title"`)
}

func TestRename(t *testing.T) {
	g := scenes()
	e := serve(t, g)
	require.Equal(t, "/", post(t, e, "/s/core/rename", url.Values{"title": {"New"}, "from": {"list"}}).header.Get("Location"))
	require.Equal(t, "/s/core#step", post(t, e, "/s/core/rename", url.Values{"title": {"Newer"}}).header.Get("Location"))
	require.Equal(t, "Newer", g.sessions["core"].view.Title)
	for _, from := range []string{"list", ""} {
		d := post(t, e, "/s/core/rename", url.Values{"title": {""}, "from": {from}})
		require.Equal(t, http.StatusUnprocessableEntity, d.status)
		require.Contains(t, text(d.id("errors")), "A title needs at least one character.")
	}
}

func TestDeleteAsksFirst(t *testing.T) {
	g := scenes()
	e := serve(t, g)
	d := get(t, e, "/s/core/delete")
	require.Equal(t, []string{"Keep the session"}, texts(d.class("primary")))
	require.Contains(t, text(d.id("main")), "4 trials")
	require.Contains(t, g.sessions, "core")
	require.Equal(t, "/", post(t, e, "/s/core/delete", url.Values{}).header.Get("Location"))
	require.NotContains(t, g.sessions, "core")
	require.Equal(t, http.StatusNotFound, post(t, e, "/s/core/delete", url.Values{}).status)
}

func TestMemoryForgetsTheOldest(t *testing.T) {
	m := newMemory[int]()
	first := m.put(1)
	for i := range remembered {
		m.put(i)
	}
	_, ok := m.get(first)
	require.False(t, ok)
	require.Len(t, m.byKey, remembered)
}
