package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"unicode"

	"belay/internal/fault"
	"belay/internal/flow"
)

// report tells a person what went wrong, never the chain of causes, and
// returns the exit code.
func report(w io.Writer, err error) int {
	var problems *flow.Problems
	var f *fault.Error
	switch {
	case err == nil:
		return done
	case errors.Is(err, errRefuted):
		return refuted
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(w, "Belay was stopped before it was done.")
	case errors.As(err, &problems):
		fmt.Fprintln(w, problems.Error())
	case errors.As(fault.Wrap("cli", err), &f):
		fmt.Fprintf(w, "%s\n%s\n", f.Msg, f.Next)
		for _, x := range f.Fields {
			fmt.Fprintf(w, "%s: %s\n", x.Field, x.Message)
		}
	}
	if errors.As(err, new(misusedBy)) {
		return misused
	}
	return failed
}

// message tells a person something that is not the result.
func (c *call) message(format string, args ...any) {
	fmt.Fprintf(c.messages, format+"\n", args...)
}

// json prints a result for programs.
func (c *call) json(v any) error {
	body, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return fault.Wrap("cli: print JSON", err)
	}
	return c.printf("%s\n", body)
}

// deliver writes a document to a new file, or prints it if path is "".
func (c *call) deliver(body []byte, path string) error {
	if path == "" {
		return c.write(body)
	}
	file, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return fault.Newf(fault.Conflict, "Choose another name.", "There is already a file of this name: %s", path)
	}
	if err != nil {
		return unwritable(path, err)
	}
	_, err = file.Write(body)
	if err = errors.Join(err, file.Close()); err != nil {
		return unwritable(path, errors.Join(err, os.Remove(path)))
	}
	c.message("Written: %s", path)
	return nil
}

func unwritable(path string, err error) error {
	return fault.New(fault.Unavailable, "This file cannot be written: "+path,
		"Check that you may write there, and that the disk is not full.").Because(err)
}

// plain makes a text from a session fit for one line of a terminal.
func plain(text string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return ' '
		}
		return r
	}, text)
}

// sentence makes a message of the parser a sentence.
func sentence(text string) string {
	if text == "" {
		return text
	}
	return strings.ToUpper(text[:1]) + text[1:] + "."
}

// count tells a number of things.
func count(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	if stem, ok := strings.CutSuffix(thing, "y"); ok {
		return fmt.Sprintf("%d %sies", n, stem)
	}
	return fmt.Sprintf("%d %ss", n, thing)
}
