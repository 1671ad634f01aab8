package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"belay/internal/fault"
)

// applicationID marks a file as Belay's, in its header: "BLAY" (chosen).
const applicationID = 0x424c4159

//go:embed migrations/*.sql
var embeddedFiles embed.FS

// embedded returns the migrations of this program.
func embedded() fs.FS {
	sub, err := fs.Sub(embeddedFiles, "migrations")
	if err != nil {
		panic(err) // the name is a constant
	}
	return sub
}

// migration is one forward step of the schema.
type migration struct {
	text     string
	checksum string // hex SHA-256 of text
}

// readMigrations returns the steps in order; step i has the number i+1.
func readMigrations(files fs.FS) ([]migration, error) {
	names, err := fs.Glob(files, "*.sql")
	if err != nil {
		return nil, err
	}
	var steps []migration
	for i, name := range names {
		if !strings.HasPrefix(name, fmt.Sprintf("%04d_", i+1)) {
			return nil, fault.Newf(fault.Internal, "Build Belay anew.", "Migration %d is missing before %s.", i+1, name)
		}
		text, err := fs.ReadFile(files, name)
		if err != nil {
			return nil, err
		}
		steps = append(steps, migration{text: string(text), checksum: hashOf(text)})
	}
	return steps, nil
}

// hashOf returns hex SHA-256.
func hashOf(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// inspect looks at a file without changing it, and returns its schema. It
// refuses a file of another program, of a newer Belay, or one that was made
// with other migrations than steps.
func inspect(ctx context.Context, path string, steps []migration) (int, error) {
	db, err := sql.Open("sqlite3", dsnOf(path, "mode=ro&_busy_timeout=5000"))
	if err != nil {
		return 0, openFault(err)
	}
	defer db.Close()
	var app, schema, tables int
	for question, answer := range map[string]*int{
		"PRAGMA application_id":              &app,
		"PRAGMA user_version":                &schema,
		"SELECT count(*) FROM sqlite_schema": &tables,
	} {
		if err := db.QueryRowContext(ctx, question).Scan(answer); err != nil {
			return 0, openFault(err)
		}
	}
	switch {
	case app == 0 && schema == 0 && tables == 0:
		return 0, nil // new
	case app != applicationID:
		return 0, notOurs
	case schema > len(steps):
		return 0, fault.Newf(fault.Invalid, "Start the newer Belay that wrote it. Nothing was changed.",
			"A newer Belay wrote this data: schema %d. This Belay knows %d.", schema, len(steps))
	}
	return schema, checkHistory(ctx, db, steps[:schema])
}

// checkHistory compares the checksums in the file with those of steps.
func checkHistory(ctx context.Context, db *sql.DB, steps []migration) error {
	for i, step := range steps {
		var checksum string
		err := db.QueryRowContext(ctx, "SELECT checksum FROM migration WHERE number = ?", i+1).Scan(&checksum)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return openFault(err)
		}
		if checksum != step.checksum {
			return fault.Newf(fault.Corrupt, "Use the Belay that made this data, or restore a backup. Nothing was changed.",
				"Belay's data was made with another migration %d.", i+1)
		}
	}
	return nil
}

// migrate takes the file through the steps that it lacks, all in one
// transaction. A file with content is backed up first.
func (l *Log) migrate(ctx context.Context, steps []migration) error {
	if l.schema == len(steps) {
		return nil
	}
	if l.schema > 0 {
		path, err := l.spare()
		if err != nil {
			return err
		}
		if err := l.Backup(ctx, path); err != nil {
			return err
		}
	}
	var note lines
	note.schema(len(steps))
	if err := l.write(ctx, note, func(ctx context.Context, tx *sql.Tx) error { return climb(ctx, tx, steps, l.schema) }); err != nil {
		return err
	}
	l.schema = len(steps)
	return nil
}

// climb takes a file from one schema to that of the last step.
func climb(ctx context.Context, tx *sql.Tx, steps []migration, from int) error {
	for i := from; i < len(steps); i++ {
		if _, err := tx.ExecContext(ctx, steps[i].text); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, "INSERT INTO migration (number, checksum) VALUES (?, ?)",
			i+1, steps[i].checksum); err != nil {
			return err
		}
	}
	_, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA application_id=%d; PRAGMA user_version=%d",
		applicationID, len(steps)))
	return err
}

// spare returns a free name for the backup before a migration.
func (l *Log) spare() (string, error) {
	for n := 1; ; n++ {
		path := fmt.Sprintf("%s.schema%d-%d.bak", l.path, l.schema, n)
		_, err := os.Lstat(path)
		if errors.Is(err, fs.ErrNotExist) {
			return path, nil
		}
		if err != nil {
			return "", unwritable(path, err)
		}
	}
}
