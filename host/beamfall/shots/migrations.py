"""The shot log's tables, and the steps from each version of the file to the next.

A file says its version in `PRAGMA user_version`. A step, once released, is never changed: a new
version adds a step. Times of day are microseconds of UTC since 1970; times in a shot are integer
ticks of the sequence's clock.
"""

from __future__ import annotations

import sqlite3

APPLICATION_ID = 0x42464C47  # 'BFLG': how `file` and this program know the file for a shot log

_STRICT = " STRICT" if sqlite3.sqlite_version_info >= (3, 37) else ""  # Python 3.11 may be on less
_STRICT_KEYED = " WITHOUT ROWID" + ("," + _STRICT if _STRICT else "")

_VERSION_1 = f"""
CREATE TABLE rig (          -- rigs as they were, one row for each different one
  id INTEGER PRIMARY KEY,
  digest BLOB NOT NULL UNIQUE,
  name TEXT NOT NULL,
  snapshot TEXT NOT NULL    -- JSON, SI units
){_STRICT};
CREATE TABLE sequence (     -- sequence tables, one row for each different one
  id INTEGER PRIMARY KEY,
  digest BLOB NOT NULL UNIQUE,
  clock_hz INTEGER NOT NULL,
  content TEXT NOT NULL     -- JSON of beamfall.setup.sequence.Table
){_STRICT};
CREATE TABLE board (        -- boards with their firmware, one row for each different state
  id INTEGER PRIMARY KEY,
  unique_id TEXT NOT NULL,
  name TEXT NOT NULL,
  firmware TEXT NOT NULL,
  protocol INTEGER NOT NULL,
  timing TEXT NOT NULL,
  clock_hz INTEGER NOT NULL,
  UNIQUE (unique_id, name, firmware, protocol, timing, clock_hz)
){_STRICT};
CREATE TABLE series (       -- shots that belong together
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  kind TEXT NOT NULL,       -- shoot, sweep, seek, calibrate, ...
  name TEXT NOT NULL DEFAULT '',
  begun_us INTEGER NOT NULL,
  rig_id INTEGER REFERENCES rig(id),
  seed INTEGER,             -- of all that was drawn for the series, rest times included
  settings TEXT NOT NULL DEFAULT '{{}}',  -- JSON
  note TEXT NOT NULL DEFAULT ''
){_STRICT};
CREATE TABLE shot (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  series_id INTEGER NOT NULL REFERENCES series(id),
  number INTEGER NOT NULL,  -- in the series, from 1
  begun_us INTEGER NOT NULL,
  completed_us INTEGER,
  state TEXT NOT NULL,      -- 'begun' from before the release until the outcome is known
  cause TEXT,
  rig_id INTEGER REFERENCES rig(id),
  sequence_id INTEGER NOT NULL REFERENCES sequence(id),
  board_id INTEGER NOT NULL REFERENCES board(id),
  port TEXT NOT NULL,
  boot_id INTEGER NOT NULL,
  release_number INTEGER NOT NULL,
  seed INTEGER,             -- of a simulated rig
  anchor_beam TEXT,
  anchor_edge TEXT,
  anchor_count INTEGER NOT NULL,
  flash_delay_ticks INTEGER,
  spacing_ticks INTEGER,
  swept TEXT,               -- JSON: what a sweep set for this shot
  counts TEXT,              -- JSON: the board's own figures at the end
  link TEXT,                -- JSON: link counters of this shot
  truth TEXT,               -- JSON: what a simulated rig knows
  note TEXT NOT NULL DEFAULT '',
  rating INTEGER CHECK (rating BETWEEN 1 AND 5),
  picture TEXT,
  UNIQUE (series_id, number)
){_STRICT};
CREATE INDEX shot_release ON shot (release_number, boot_id);
CREATE TABLE edge (
  shot_id INTEGER NOT NULL REFERENCES shot(id),
  number INTEGER NOT NULL,  -- in time order, from 0
  what TEXT NOT NULL,
  edge TEXT NOT NULL,
  planned_ticks INTEGER,
  ticks INTEGER,
  source TEXT NOT NULL,
  PRIMARY KEY (shot_id, number)
){_STRICT_KEYED};
CREATE VIEW edge_ms AS      -- the edges for people with an SQL program
  SELECT edge.shot_id, shot.series_id, edge.number, edge.what, edge.edge,
         edge.planned_ticks * 1000.0 / sequence.clock_hz AS planned_ms,
         edge.ticks * 1000.0 / sequence.clock_hz AS measured_ms,
         edge.source
  FROM edge JOIN shot ON shot.id = edge.shot_id JOIN sequence ON sequence.id = shot.sequence_id;
"""

_VERSION_2 = f"""
ALTER TABLE shot ADD COLUMN picture_match TEXT;  -- JSON: how the picture was found; NULL: named by hand
CREATE INDEX shot_begun ON shot (id) WHERE state = 'begun';
CREATE TABLE calibration (  -- what beam edges have said of a rig
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  made_us INTEGER NOT NULL,
  rig_id INTEGER REFERENCES rig(id),
  board_id INTEGER NOT NULL REFERENCES board(id),
  shots TEXT NOT NULL,      -- JSON: the ids of the shots used
  content TEXT NOT NULL     -- JSON: values, standard errors, what cannot be told apart
){_STRICT};
"""

#: Step n brings a file of version n to version n + 1.
MIGRATIONS: tuple[str, ...] = (_VERSION_1, _VERSION_2)
