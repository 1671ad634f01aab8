package main

import (
	"context"
	"fmt"
	"html/template"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"belay/flows"
	"belay/internal/config"
	"belay/internal/flow"
	"belay/internal/scene"
	"belay/internal/store"
)

// shot is one way of looking at a page.
type shot struct {
	Name          string
	Width, Height int64
	Scheme        string
}

var shots = []shot{{"phone", 390, 844, "light"}, {"desktop", 1440, 900, "dark"}}

// plate is one entry of the picture book.
type plate struct{ Name, Title, Path string }

// book is the page that shows all plates.
var book = template.Must(template.New("").Parse(`<!doctype html><html lang="en"><meta charset="utf-8"><title>Every page of Belay</title>
<style>body{font:16px/1.4 system-ui,sans-serif;margin:2rem}figure{display:flex;gap:1rem;align-items:start;margin:0 0 2rem}
figcaption{flex:0 0 14rem}img{border:1px solid #999;max-height:60rem}img.phone{width:195px}img.desktop{width:720px}</style>
<h1>Every page of Belay</h1>
{{range .Plates}}<figure id="{{.Name}}"><figcaption><strong>{{.Name}}</strong><br>{{.Title}}</figcaption>
{{$p := .}}{{range $.Shots}}<img class="{{.Name}}" loading="lazy" src="{{$p.Name}}-{{.Name}}.png" alt="{{$p.Name}} on a {{.Name}}">{{end}}</figure>
{{end}}</html>
`))

// storybook takes a picture of every state of the flow, and of the pages
// around it, on a phone and on a desktop, and writes a page that shows them.
func storybook(dir string, stderr io.Writer) error {
	data, err := os.MkdirTemp("", "belay-storybook")
	if err != nil {
		return err
	}
	defer os.RemoveAll(data)
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Minute)
	defer cancel()
	plates, err := fillBook(ctx, data)
	if err != nil {
		return err
	}
	open, err := launch(ctx, data, stderr)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	if err := photograph(ctx, dir, open, plates, stderr); err != nil {
		return err
	}
	f, err := os.Create(filepath.Join(dir, "index.html"))
	if err != nil {
		return err
	}
	if err := book.Execute(f, struct {
		Plates []plate
		Shots  []shot
	}{plates, shots}); err != nil {
		return err
	}
	fmt.Fprintln(stderr, len(plates), "pages are in", filepath.Join(dir, "index.html"))
	return f.Close()
}

// fillBook puts a session in every state into the data folder.
func fillBook(ctx context.Context, data string) ([]plate, error) {
	log, err := store.Open(config.Database(data))
	if err != nil {
		return nil, err
	}
	states, err := scene.Fill(ctx, log, flows.FS, "desktop")
	if cerr := log.Close(); err == nil {
		err = cerr
	}
	plates := []plate{
		{"list", "The list of sessions", "/"}, {"nothing", "A page that is not there", "/s/none"},
		{"glossary", "The glossary", "/s/core-enter/glossary"}, {"charts", "The charts", "/s/sheet-ready/charts"},
		{"sheet", "The settings sheet", "/s/sheet-ready/sheet"}, {"card", "The step to take along", "/s/core-enter/card"},
	}
	for _, s := range states {
		plates = append(plates, plateOf(s))
	}
	return plates, err
}

func plateOf(s *flow.State) plate { return plate{s.ID, s.Title, "/s/" + scene.Session(s.ID)} }

func photograph(ctx context.Context, dir, open string, plates []plate, stderr io.Writer) error {
	alloc, stop := chromedp.NewExecAllocator(ctx, chromedp.ExecPath("/usr/bin/chromium"), chromedp.Headless, chromedp.DisableGPU,
		chromedp.NoFirstRun, chromedp.NoSandbox, chromedp.Flag("disable-background-networking", true))
	defer stop()
	tab, cancel := chromedp.NewContext(alloc)
	defer cancel()
	if err := chromedp.Do(tab, chromedp.Navigate(open)); err != nil {
		return err
	}
	time.Sleep(2 * time.Second) // the one-time page leads on by itself
	base := open[:strings.Index(open, "/open/")]
	for _, s := range shots {
		if err := chromedp.Do(tab, chromedp.EmulateViewport(s.Width, s.Height)); err != nil {
			return err
		}
		if _, err := chromedp.Call(tab, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: s.Scheme}},
		}); err != nil {
			return err
		}
		for _, p := range plates {
			if err := chromedp.Do(tab, chromedp.Navigate(base+p.Path)); err != nil {
				return fmt.Errorf("%s: %w", p.Path, err)
			}
			png, err := chromedp.Run(tab, chromedp.FullScreenshot(100))
			if err != nil {
				return fmt.Errorf("%s: %w", p.Path, err)
			}
			if err := os.WriteFile(filepath.Join(dir, p.Name+"-"+s.Name+".png"), png, 0o644); err != nil {
				return err
			}
		}
		fmt.Fprintln(stderr, s.Name, "done")
	}
	return nil
}
