package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"time"

	"belay/internal/cli"
	"belay/internal/config"
	"belay/internal/fault"
	"belay/internal/httpapi"
	"belay/internal/hub"
	"belay/internal/pair"
	"belay/internal/store"
)

// stopTimeout is how long requests may take to end. Chosen: a slow disk.
const stopTimeout = 5 * time.Second

// serve opens the data folder and answers requests until ctx ends.
func serve(ctx context.Context, o cli.ServeOptions, out, messages io.Writer) (err error) {
	addr, err := ownAddress(o.Addr)
	if err != nil {
		return err
	}
	token, err := config.Token(o.Folder, os.Getenv)
	if err != nil {
		return err
	}
	log, err := store.Open(config.Database(o.Folder))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, log.Close()) }()
	listener, err := listen(addr)
	if err != nil {
		return err
	}
	defer listener.Close() // for the ways out before the server has it
	listeners := hub.New(log.EventsAfter)
	defer listeners.Close()

	assistant := useCases(log, o.Folder, offered(o.Flows), listeners.Notify)
	if _, err := assistant.Flows(ctx); err != nil {
		return err
	}
	logger := slog.New(slog.NewTextHandler(messages, nil))
	here, err := openHost(config.Heartbeat(o.Folder), logger)
	if err != nil {
		return err
	}
	defer here.close()
	assistant.Bench = here.ports()
	defer assistant.Close() // a running trial ends before the log does
	if err := assistant.Resume(ctx); err != nil {
		return err
	}
	for _, n := range log.Notes() {
		logger.Warn("data repaired", "found", n.Msg, "next", n.Next, "cause", n.Err)
	}
	phones := pair.New(time.Now)
	defer phones.Close()
	outside, err := openLAN(o, listener.Addr(), phones)
	if err != nil {
		return err
	}
	api, err := httpapi.New(httpapi.Config{
		Assist: assistant, Hub: listeners, Token: token, Addr: listener.Addr().String(),
		Version: version, Health: health(log), Log: logger, Pair: phones,
	})
	if err != nil {
		return err
	}
	base := "http://" + listener.Addr().String()
	if err := log.SetAddress(base + "/"); err != nil {
		return err
	}
	server := api.HTTP()
	defer outside.serve(server, phones)()
	return answer(ctx, server, listener, listeners, func() {
		fmt.Fprintf(out, "Belay is at %s (Ctrl+C stops it)\n", base+api.OpenPath())
		if outside.Listener != nil {
			fmt.Fprintf(messages, "Phones reach it at http://%s/pair. Let them in on this PC, at %s/phones.\n", outside.Addr(), base)
		}
		if o.Browse {
			browse(base+api.OpenPath(), messages)
		}
	})
}

// answer runs the server, calls started, and stops cleanly when ctx ends.
func answer(ctx context.Context, server *http.Server, listener net.Listener, listeners *hub.Hub, started func()) error {
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(listener) }()
	started()
	select {
	case err := <-ended:
		return fault.Wrap("serve", err)
	case <-ctx.Done():
	}
	listeners.Close() // streams end with it, or the server would wait for them
	stopping, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTimeout)
	defer cancel()
	if err := server.Shutdown(stopping); err != nil {
		err = errors.Join(err, server.Close())
		<-ended
		return fault.New(fault.Unavailable, "Belay stopped while a request was not answered yet.",
			"Start it again. What was saved is there.").Because(err)
	}
	<-ended
	return nil
}

// ownAddress refuses an address that other PCs could reach. The page's cookie
// and its checks of the host know these two names.
func ownAddress(addr string) (string, error) {
	host, port, err := net.SplitHostPort(addr)
	if err != nil {
		return "", fault.New(fault.Invalid, "This is not an address to listen on: "+addr,
			"Give a host and a port, as in --addr 127.0.0.1:8420.").Because(err)
	}
	if host != "127.0.0.1" && host != "localhost" {
		return "", fault.New(fault.Invalid, "Belay serves this PC only, so it cannot listen on "+addr+".",
			"Use 127.0.0.1 and a port, as in --addr 127.0.0.1:8420.")
	}
	return net.JoinHostPort("127.0.0.1", port), nil
}

func listen(addr string) (net.Listener, error) {
	listener, err := net.Listen("tcp", addr)
	if err != nil {
		return nil, fault.New(fault.Unavailable, "Belay cannot listen on "+addr+".",
			"Another program may use this port. Choose another one, as in --addr 127.0.0.1:8421.").Because(err)
	}
	return listener, nil
}

// health asks the log how it is.
func health(log *store.Log) func(context.Context) (httpapi.Health, error) {
	return func(ctx context.Context) (httpapi.Health, error) {
		h := httpapi.Health{SchemaVersion: log.SchemaVersion(), Integrity: "ok", Notices: []string{}, ReadBack: "disk"}
		for _, n := range known(log) {
			h.Notices = append(h.Notices, n.Msg+" "+n.Next)
		}
		if log.ReadsCached() {
			h.ReadBack = "memory"
		}
		_, err := log.Verify(ctx)
		var f *fault.Error
		switch {
		case err == nil && log.NeedsRestart():
			h.Integrity = "A save ended in doubt. Restart Belay."
		case fault.Is(err, fault.Corrupt) && errors.As(err, &f):
			h.Integrity = f.Msg
		case err != nil:
			return httpapi.Health{}, err
		}
		return h, nil
	}
}
