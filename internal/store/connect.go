package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"net/url"
	"path/filepath"
	"strings"

	"github.com/mattn/go-sqlite3"

	"belay/internal/fault"
)

const (
	// oldestSQLite is 3.51.3. Releases from 3.7.0 to 3.51.2 could damage a
	// log when its write-ahead file was reset. Source: SQLite release notes, 2026.
	oldestSQLite = 3051003

	// readers is how many reads run side by side (chosen: two pages and two
	// streams).
	readers = 4

	writerSettings = "_journal_mode=WAL&_synchronous=FULL&_busy_timeout=5000&_foreign_keys=on&_txlock=immediate"
	copySettings   = "mode=ro&_journal_mode=WAL&_synchronous=FULL&_busy_timeout=5000&_foreign_keys=on"
	readerSettings = copySettings + "&_query_only=on" // which would refuse to write a backup
)

// pragma is a setting of a connection and the value it must read back as.
type pragma struct {
	name string
	want int64
}

// guards are set on every connection, since they have no place in the DSN.
// The driver ignores a misspelt DSN key, so these and the keys of the DSN
// are read back.
var guards = []pragma{{"cell_size_check", 1}, {"mmap_size", 0}, {"trusted_schema", 0}}

// required are the settings that the DSN makes. 2 is FULL.
var required = []pragma{{"synchronous", 2}, {"foreign_keys", 1}}

// connector opens checked connections to one file.
type connector struct{ dsn string }

func (c connector) Driver() driver.Driver {
	return &sqlite3.SQLiteDriver{ConnectHook: guard}
}

func (c connector) Connect(context.Context) (driver.Conn, error) {
	return c.Driver().Open(c.dsn)
}

// dsnOf names a file with settings for the driver.
func dsnOf(path, settings string) string {
	slashed := filepath.ToSlash(path)
	if !strings.HasPrefix(slashed, "/") {
		slashed = "/" + slashed // C:/folder becomes file:///C:/folder
	}
	return (&url.URL{Scheme: "file", Path: slashed, RawQuery: settings}).String()
}

// connect opens a pool of n connections and checks each of them.
func connect(ctx context.Context, path, settings string, n int) (*sql.DB, error) {
	db := sql.OpenDB(connector{dsnOf(path, settings)})
	db.SetMaxOpenConns(n)
	db.SetMaxIdleConns(n)
	var held []*sql.Conn
	var err error
	for range n {
		var conn *sql.Conn
		if conn, err = db.Conn(ctx); err != nil {
			break
		}
		held = append(held, conn)
	}
	for _, conn := range held {
		err = errors.Join(err, conn.Close())
	}
	if err != nil {
		return nil, errors.Join(openFault(err), db.Close())
	}
	return db, nil
}

// guard sets what the DSN cannot and reads every setting back.
func guard(conn *sqlite3.SQLiteConn) error {
	if _, have, _ := sqlite3.Version(); have < oldestSQLite {
		return fault.Newf(fault.Internal, "Build Belay with a newer SQLite driver.",
			"This Belay was built with SQLite %d; it needs %d or newer.", have, oldestSQLite)
	}
	for _, p := range guards {
		if _, err := conn.Exec(fmt.Sprintf("PRAGMA %s=%d", p.name, p.want), nil); err != nil {
			return err
		}
	}
	mode, err := pragmaOf(conn, "journal_mode")
	if err != nil {
		return err
	}
	if mode != "wal" {
		return fault.Newf(fault.Unavailable, "Keep Belay's data on a local disk of this PC.",
			"Belay's data opened with journal_mode %v, not wal.", mode)
	}
	for _, p := range append(required, guards...) {
		got, err := pragmaOf(conn, p.name)
		if err != nil {
			return err
		}
		if got != p.want {
			return fault.Newf(fault.Internal, "Get a Belay that was built without this mistake. Your data was not touched.",
				"Belay's data opened with %s %v, not %d.", p.name, got, p.want)
		}
	}
	return nil
}

// pragmaOf reads one setting of one connection.
func pragmaOf(conn *sqlite3.SQLiteConn, name string) (any, error) {
	rows, err := conn.Query("PRAGMA "+name, nil)
	if err != nil {
		return nil, err
	}
	value := make([]driver.Value, 1)
	err = rows.Next(value)
	if errors.Is(err, io.EOF) {
		err = fault.Newf(fault.Internal, "Build Belay with its own SQLite driver.",
			"This SQLite does not know the setting %s.", name)
	}
	return value[0], errors.Join(err, rows.Close())
}
