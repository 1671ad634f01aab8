package main

import (
	"net"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/cli"
	"belay/internal/fault"
	"belay/internal/pair"
	"time"
)

func addresses(texts ...string) func() ([]net.Addr, error) {
	return func() ([]net.Addr, error) {
		var out []net.Addr
		for _, t := range texts {
			ip, n, err := net.ParseCIDR(t)
			if err != nil {
				return nil, err
			}
			out = append(out, &net.IPNet{IP: ip, Mask: n.Mask})
		}
		return out, nil
	}
}

// Private addresses: RFC 1918. Those for documents: RFC 5737.
func TestLANHost(t *testing.T) {
	host, err := lanHost("", addresses("127.0.0.1/8", "::1/128", "fe80::1/64", "203.0.113.5/24", "192.168.7.2/24"))
	require.NoError(t, err)
	require.Equal(t, "192.168.7.2", host)
	_, err = lanHost("", addresses("127.0.0.1/8", "203.0.113.5/24"))
	require.Equal(t, fault.Unavailable, fault.CodeOf(err))
	_, err = lanHost("", addresses("10.0.0.2/8", "192.168.7.2/24"))
	require.ErrorContains(t, err, "several addresses")
	for _, given := range []string{"0.0.0.0", "203.0.113.5", "::", "localhost", "127.0.0.1", "192.168.7.2:80", "fe80::1"} {
		_, err = lanHost(given, addresses())
		require.Equal(t, fault.Invalid, fault.CodeOf(err), given)
	}
	host, err = lanHost("127.0.0.2", addresses())
	require.NoError(t, err)
	require.Equal(t, "127.0.0.2", host)
}

func TestLANPortClosesWithItsTime(t *testing.T) {
	own, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer own.Close()
	desk := pair.New(time.Now)
	none, err := openLAN(cli.ServeOptions{}, own.Addr(), desk)
	require.NoError(t, err)
	require.Nil(t, none.Listener)
	require.Empty(t, desk.Address(), "nobody comes in unless that was asked for")
	none.serve(nil, desk)()

	l, err := openLAN(cli.ServeOptions{LAN: true, LANHost: "127.0.0.2"}, own.Addr(), desk)
	if err != nil {
		t.Skip("this PC has no second loopback address:", err)
	}
	address := l.Addr().String()
	require.Equal(t, address, desk.Address())
	end := l.serve(&http.Server{Handler: http.NotFoundHandler()}, desk)
	res, err := http.Get("http://" + address)
	require.NoError(t, err)
	require.NoError(t, res.Body.Close())
	desk.Close()
	require.Eventually(t, func() bool {
		conn, err := net.Dial("tcp", address)
		if err == nil {
			_ = conn.Close()
		}
		return err != nil
	}, patience, 50*time.Millisecond, "the port is closed")
	end()
}
