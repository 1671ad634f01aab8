package main

import (
	"net"
	"net/http"
	"net/netip"
	"time"

	"belay/internal/cli"
	"belay/internal/fault"
	"belay/internal/pair"
)

// lan is the way in for phones. Without a listener there is none.
type lan struct{ net.Listener }

// openLAN listens for phones if that was asked for, at the same port as for
// this PC.
func openLAN(o cli.ServeOptions, own net.Addr, phones *pair.Desk) (lan, error) {
	if !o.LAN {
		return lan{}, nil
	}
	host, err := lanHost(o.LANHost, net.InterfaceAddrs)
	if err != nil {
		return lan{}, err
	}
	_, port, err := net.SplitHostPort(own.String())
	if err != nil {
		return lan{}, fault.Wrap("lan", err)
	}
	listener, err := listen(net.JoinHostPort(host, port))
	if err != nil {
		return lan{}, err
	}
	phones.Open(listener.Addr().String())
	return lan{listener}, nil
}

// lanHost returns the address for phones: the one given, or the only private
// one that this PC has.
func lanHost(given string, all func() ([]net.Addr, error)) (string, error) {
	if given != "" {
		ip, err := netip.ParseAddr(given)
		if err != nil || ip.IsUnspecified() || !ip.Is4() || !ip.IsPrivate() && !ip.IsLoopback() && !ip.IsLinkLocalUnicast() || given == "127.0.0.1" {
			return "", fault.New(fault.Invalid, "This is not an address of a PC in a private network: "+given,
				"Give this PC's own IPv4 address, such as 192.168.0.10.")
		}
		return given, nil
	}
	addresses, err := all()
	if err != nil {
		return "", fault.Wrap("lan", err)
	}
	var found []string
	for _, a := range addresses {
		if n, ok := a.(*net.IPNet); ok {
			if ip, ok := netip.AddrFromSlice(n.IP); ok && ip.Unmap().Is4() && ip.Unmap().IsPrivate() {
				found = append(found, ip.Unmap().String())
			}
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return "", fault.New(fault.Unavailable, "This PC has no address in a private network.", "Connect it to your network, or start Belay without --lan.")
	}
	return "", fault.Newf(fault.Invalid, "Name one of them, as in --lan-addr "+found[0]+".", "This PC has several addresses: %v.", found)
}

// closeAfter is how often it is looked whether the time for phones is over.
// Chosen: requests are refused at once; this only closes the port.
const closeAfter = time.Second

// serve answers phones until their time is over, and returns what ends it.
func (l lan) serve(server *http.Server, phones *pair.Desk) (end func()) {
	if l.Listener == nil {
		return func() {}
	}
	stop, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		tick := time.NewTicker(closeAfter)
		defer tick.Stop()
		for phones.Address() != "" {
			select {
			case <-stop:
				return
			case <-tick.C:
			}
		}
		_ = l.Close()
	}()
	served := make(chan struct{})
	go func() {
		defer close(served)
		_ = server.Serve(l.Listener) // ends with the listener or the server
	}()
	return func() {
		close(stop)
		<-ended
		_ = l.Close()
		<-served
	}
}
