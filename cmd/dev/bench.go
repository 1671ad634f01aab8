package main

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	_ "github.com/mattn/go-sqlite3" // the bare insert that answers are compared with

	"belay/internal/config"
)

// The ratios are taken over rounds, subject and floor turn by turn, so that
// what else the machine does moves both. Chosen: enough for a 99 % point that
// means something, in about a minute.
const (
	benchRounds = 5
	benchTurns  = 300
)

// pair is one comparison: the subject's time over the floor's, by rounds.
type pair struct {
	name     string
	p50, p99 []float64
	subject  []float64 // its median of each round, ms
}

// bench measures the built program over HTTP against floors in the same run,
// and prints the table that docs/performance.md explains.
func bench(stdout, stderr io.Writer) error {
	dir, err := os.MkdirTemp("", "belay-bench")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Minute)
	defer cancel()
	begin := time.Now()
	open, err := launch(ctx, dir, stderr)
	if err != nil {
		return err
	}
	fmt.Fprintf(stderr, "built and started in %s\n", time.Since(begin).Round(time.Millisecond))
	token, err := config.Token(dir, os.Getenv)
	if err != nil {
		return err
	}
	c := client{base: open[:strings.Index(open, "/open/")] + "/api/v1", token: token}
	static := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		_, _ = w.Write(bytes.Repeat([]byte("x"), 4096)) // about as long as a prompt
	}))
	defer static.Close()
	db, err := sql.Open("sqlite3", filepath.Join(dir, "bare.db")+"?_journal_mode=WAL&_synchronous=FULL")
	if err != nil {
		return err
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	if _, err := db.Exec("CREATE TABLE t (id INTEGER PRIMARY KEY, body TEXT) STRICT"); err != nil {
		return err
	}
	body := strings.Repeat("an event of some length, ", 12)
	answer := pair{name: "answer / bare synced insert"}
	look := pair{name: "prompt / static reply"}
	for range benchRounds {
		var a, insert, get, plain []time.Duration
		for range benchTurns {
			id, prompt, err := c.session()
			if err != nil {
				return err
			}
			insert = append(insert, timed(&err, func() error {
				_, err := db.Exec("INSERT INTO t (body) VALUES (?)", body)
				return err
			}))
			a = append(a, timed(&err, func() error {
				return c.call("POST", "/sessions/"+id+"/answers", map[string]any{"prompt": prompt.ID, "action": prompt.Actions[0].Name}, nil)
			}))
			plain = append(plain, timed(&err, func() error { return fetch(static.URL) }))
			get = append(get, timed(&err, func() error { return c.call("GET", "/sessions/"+id+"/prompt", nil, nil) }))
			if err != nil {
				return err
			}
		}
		answer.add(a, insert)
		look.add(get, plain)
	}
	fmt.Fprintf(stdout, "%-30s %22s %22s %14s\n", "", "p50 (least to most)", "p99 (least to most)", "p50, ms")
	for _, p := range []pair{answer, look} {
		fmt.Fprintf(stdout, "%-30s %22s %22s %14.2f\n", p.name, spread(p.p50), spread(p.p99), middle(p.subject))
	}
	info, err := os.Stat(filepath.Join(dir, "program"))
	if err != nil {
		return err
	}
	fmt.Fprintf(stdout, "program, not stripped: %.1f MB\n", float64(info.Size())/1e6)
	return nil
}

// timed measures f unless an error came before, and keeps its error.
func timed(err *error, f func() error) time.Duration {
	if *err != nil {
		return 0
	}
	start := time.Now()
	*err = f()
	return time.Since(start)
}

func (p *pair) add(subject, floor []time.Duration) {
	slices.Sort(subject)
	slices.Sort(floor)
	at := func(d []time.Duration, percent int) float64 { return float64(d[len(d)*percent/100]) }
	p.p50 = append(p.p50, at(subject, 50)/at(floor, 50))
	p.p99 = append(p.p99, at(subject, 99)/at(floor, 99))
	p.subject = append(p.subject, at(subject, 50)/1e6)
}

func middle(x []float64) float64 { return slices.Sorted(slices.Values(x))[len(x)/2] }

func spread(x []float64) string {
	return fmt.Sprintf("%.2f (%.2f to %.2f)", middle(x), slices.Min(x), slices.Max(x))
}

// client talks to the API of the program under test.
type client struct{ base, token string }

type benchPrompt struct {
	ID      string `json:"id"`
	Actions []struct {
		Name string `json:"name"`
	} `json:"actions"`
}

// session starts a session and returns its id and its first prompt.
func (c client) session() (string, benchPrompt, error) {
	var made struct {
		ID string `json:"id"`
	}
	var p benchPrompt
	if err := c.call("POST", "/sessions", map[string]any{"flow": "desktop", "title": "Measured"}, &made); err != nil {
		return "", p, err
	}
	return made.ID, p, c.call("GET", "/sessions/"+made.ID+"/prompt", nil, &p)
}

func (c client) call(method, path string, body, into any) error {
	text, err := json.Marshal(body)
	if err != nil {
		return err
	}
	r, err := http.NewRequest(method, c.base+path, bytes.NewReader(text))
	if err != nil {
		return err
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Authorization", "Bearer "+c.token)
	res, err := http.DefaultClient.Do(r)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	got, err := io.ReadAll(res.Body)
	if err == nil && res.StatusCode >= 300 {
		err = fmt.Errorf("%s %s: %s: %s", method, path, res.Status, got)
	}
	if err == nil && into != nil {
		err = json.Unmarshal(got, into)
	}
	return err
}

func fetch(url string) error {
	res, err := http.Get(url)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	_, err = io.Copy(io.Discard, res.Body)
	return err
}
