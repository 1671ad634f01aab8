package assist

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"strings"
	"unicode"
	"unicode/utf8"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/flow"
	"belay/internal/session"
)

// longestTitle is in characters. Chosen: fits a line of the list on a phone twice.
const longestTitle = 80

// Start begins a session and returns its id.
func (a *Assist) Start(ctx context.Context, req StartRequest) (string, error) {
	title, err := cleanTitle(req.Title)
	if err != nil {
		return "", err
	}
	if title == "" {
		title = "Session of " + a.Now().Format("2 January 2006, 15:04")
	}
	if req.Practice != nil {
		if _, err := a.Rig(req.Practice.Seed, req.Practice.Variant); err != nil {
			return "", err
		}
	}
	g, packed, err := a.offered(req.Flow)
	if err != nil {
		return "", err
	}
	if err := a.Log.PutFlow(ctx, g.Hash, packed); err != nil {
		return "", fault.Wrap("assist.Start", err)
	}
	payloads, err := session.Begin(g, event.SessionStarted{
		Title: title, Flow: g.Name, FlowHash: g.Hash, Practice: req.Practice,
	})
	if err != nil {
		return "", err
	}
	payloads = append(payloads, a.detected(req)...)
	id := a.NewID()
	return id, a.commit(ctx, &session.State{ID: id}, payloads)
}

// offered returns a flow that sessions can begin with, and the bytes that its
// hash is of. A flow is proven sound once, not each time that it is asked for.
func (a *Assist) offered(name string) (*flow.Graph, []byte, error) {
	packed, err := flow.Pack(a.Offer, name)
	if err != nil {
		return nil, nil, err
	}
	sum := sha256.Sum256(packed)
	hash := hex.EncodeToString(sum[:])
	a.mu.Lock()
	g := a.graphs[hash]
	a.mu.Unlock()
	if g != nil {
		return g, packed, nil
	}
	if g, err = flow.Load(a.Offer, name); err != nil {
		return nil, nil, err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	a.graphs[hash] = g
	return g, packed, nil
}

// Answer answers the present prompt. The same key gives the same result
// again; a stale prompt gives a Conflict fault.
func (a *Assist) Answer(ctx context.Context, id string, req AnswerRequest) (Result, error) {
	return a.answer(ctx, id, req.Key, func(s loaded) (session.Answer, error) {
		return session.Answer{Prompt: req.Prompt, Action: req.Action, Values: req.Values, Key: req.Key, Confirm: req.Confirm}, nil
	})
}

// AnswerForm answers with numbers as a person typed them.
func (a *Assist) AnswerForm(ctx context.Context, id string, req FormRequest) (Result, error) {
	return a.answer(ctx, id, req.Key, func(s loaded) (session.Answer, error) {
		answer := session.Answer{Prompt: req.Prompt, Action: req.Action, Key: req.Key, Confirm: req.Confirm}
		if req.Prompt != s.PromptID() {
			return answer, nil // stale: say that first, whatever was typed
		}
		values, wrong := s.ParseForm(req.Action, req.Form)
		if len(wrong) > 0 {
			f := fault.New(fault.Invalid, "This answer needs a correction.", "Correct the fields that are named, and save again.")
			f.Fields = wrong
			return answer, f
		}
		answer.Values = values
		return answer, nil
	})
}

func (a *Assist) answer(ctx context.Context, id, key string, make func(loaded) (session.Answer, error)) (Result, error) {
	return a.once(ctx, id, key, func(s loaded) ([]event.Payload, error) {
		answer, err := make(s)
		if err != nil {
			return nil, err
		}
		return s.Decide(answer)
	})
}

// Undo takes back the newest answer.
func (a *Assist) Undo(ctx context.Context, id, key string) (Result, error) {
	return a.once(ctx, id, key, func(s loaded) ([]event.Payload, error) { return s.Undo(key) })
}

// longestKey bounds the key of an answer, in bytes: it is kept in the log.
// Chosen: four times what the page makes.
const longestKey = 128

// once carries a command out, unless one with the same key was carried out
// before: then it returns what that led to.
func (a *Assist) once(ctx context.Context, id, key string, decide func(loaded) ([]event.Payload, error)) (Result, error) {
	if len(key) > longestKey {
		return Result{}, fault.Newf(fault.Invalid, "Open the page again.", "The key of this answer is longer than %d characters.", longestKey)
	}
	var before *Result
	err := a.change(ctx, id, func(s loaded) ([]event.Payload, error) {
		if r, done, err := a.replay(ctx, s, key); done || err != nil {
			before = &r
			return nil, err
		}
		return decide(s)
	})
	if err != nil {
		return Result{}, err
	}
	if before != nil {
		return *before, nil
	}
	return a.result(ctx, id)
}

// Rename gives a session another title.
func (a *Assist) Rename(ctx context.Context, id, title string) error {
	title, err := cleanTitle(title)
	if err != nil {
		return err
	}
	if title == "" {
		return titleFault("A title needs at least one character.")
	}
	return a.change(ctx, id, func(s loaded) ([]event.Payload, error) {
		if s.Title == title {
			return nil, nil
		}
		return []event.Payload{event.SessionRenamed{Title: title}}, nil
	})
}

// Delete removes a session for good.
func (a *Assist) Delete(ctx context.Context, id string) error {
	return fault.Wrap("assist.Delete", a.Log.Delete(ctx, id))
}

// Import takes in an exported session.
func (a *Assist) Import(ctx context.Context, doc []byte) (string, error) {
	id, err := a.Log.Import(ctx, doc)
	if err != nil {
		return "", fault.Wrap("assist.Import", err)
	}
	s, err := a.load(ctx, id)
	if err != nil {
		return "", err
	}
	a.Notify(id, s.Version)
	return id, nil
}

func titleFault(message string) error {
	f := fault.New(fault.Invalid, message, "Type another title.")
	f.Fields = []fault.Field{{Field: "title", Message: message}}
	return f
}

// cleanTitle trims a title and refuses one that is too long or holds
// characters that do not print.
func cleanTitle(title string) (string, error) {
	title = strings.TrimSpace(title)
	if utf8.RuneCountInString(title) > longestTitle {
		return "", titleFault("A title has at most 80 characters.")
	}
	for _, r := range title {
		if !utf8.ValidString(title) || !unicode.IsPrint(r) {
			return "", titleFault("A title holds only characters that print.")
		}
	}
	return title, nil
}
