-- Number and checksum of every migration that this file went through.
CREATE TABLE migration (
    number   INTEGER PRIMARY KEY,
    checksum TEXT NOT NULL -- hex SHA-256 of the migration's text
) STRICT;

-- One row per session: the head of its chain of events.
CREATE TABLE session (
    id      TEXT PRIMARY KEY,
    version INTEGER NOT NULL CHECK (version > 0), -- version of the newest event
    hash    TEXT    NOT NULL,                     -- hash of the newest event
    started INTEGER NOT NULL,                     -- time of the first event, µs since 1970 UTC
    updated INTEGER NOT NULL,                     -- time of the newest event, µs since 1970 UTC
    touched INTEGER NOT NULL UNIQUE               -- order of the last write; clocks may jump back
) STRICT, WITHOUT ROWID;

CREATE TABLE event (
    session TEXT    NOT NULL REFERENCES session (id) ON DELETE CASCADE,
    version INTEGER NOT NULL CHECK (version > 0),
    time    TEXT    NOT NULL, -- RFC 3339, exactly as it was hashed
    kind    TEXT    NOT NULL,
    format  INTEGER NOT NULL,
    body    TEXT    NOT NULL, -- canonical JSON
    prev    TEXT    NOT NULL, -- hash of the event before, '' for the first
    hash    TEXT    NOT NULL,
    PRIMARY KEY (session, version)
) STRICT, WITHOUT ROWID;

-- Flows that sessions began with.
CREATE TABLE flow (
    hash TEXT PRIMARY KEY, -- hex SHA-256 of the body
    body BLOB NOT NULL
) STRICT;
