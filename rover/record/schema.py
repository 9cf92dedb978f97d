"""The tables of a run record, and how a value becomes a row and a row a value.

The tables are written out rather than derived from the classes, so that they change on purpose: whoever changes them
counts `VERSION` up. Times are robot time in nanoseconds; lengths m, angles rad. NaN is stored as NULL.
"""

import json
from collections.abc import Mapping
from dataclasses import asdict, fields
from enum import Enum
from operator import attrgetter
from typing import Any

from rover.awaited import Awaited, Lack, Part
from rover.events import (
    Delivery,
    Diversion,
    Event,
    Find,
    GivenUp,
    Health,
    HealthChange,
    HoldBack,
    Note,
    ObjectEvent,
    StateChange,
    Stop,
)
from rover.record.run import FinalObject, Gap, RunEnd, TrueBump, TrueFigures, TrueFind, TrueTouch

VERSION = 4

TABLES = """
CREATE TABLE header (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;

-- Samples: many, and some may be missing (see gaps).
CREATE TABLE track (at_ns INTEGER NOT NULL, x REAL, y REAL, heading REAL, sigma_x REAL, sigma_y REAL,
  sigma_heading REAL, state TEXT, left_duty REAL, right_duty REAL);
CREATE TABLE true_track (at_ns INTEGER NOT NULL, x REAL, y REAL, heading REAL);
CREATE TABLE readings (at_ns INTEGER NOT NULL, device TEXT NOT NULL, sequence INTEGER, taken_ns INTEGER, value TEXT);

-- Entries: few, never left out. 'entry' counts through all tables in the order of writing.
CREATE TABLE state_changes (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, left_state TEXT, entered_state TEXT,
  exit_taken TEXT, written_in TEXT, values_seen TEXT, outcome TEXT, awaited TEXT, diversions TEXT);
CREATE TABLE objects (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, number INTEGER, kind TEXT, what TEXT,
  x REAL, y REAL, why TEXT);
CREATE TABLE finds (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, number INTEGER, kind TEXT, x REAL, y REAL,
  xx REAL, xy REAL, yy REAL, object INTEGER);
CREATE TABLE deliveries (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, number INTEGER, kind TEXT, slot INTEGER,
  x REAL, y REAL, chance_inside_zone REAL, known_by TEXT, object INTEGER, why TEXT);
CREATE TABLE given_up (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, kind TEXT, x REAL, y REAL, why TEXT,
  object INTEGER);
CREATE TABLE health (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, device TEXT, health TEXT, why TEXT);
CREATE TABLE hold_backs (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, cause TEXT, ended INTEGER);
CREATE TABLE stops (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, cause TEXT);
CREATE TABLE notes (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, kind TEXT, text TEXT);
CREATE TABLE true_finds (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, number INTEGER, x REAL, y REAL);
CREATE TABLE true_bumps (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, x REAL, y REAL, speed REAL);
CREATE TABLE true_touches (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, id TEXT, kind TEXT, x REAL, y REAL,
  moved REAL, in_tray INTEGER);
CREATE TABLE truth (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, objects INTEGER, delivered INTEGER,
  empty_finds INTEGER, empty_deliveries INTEGER, let_go_outside INTEGER, fallen INTEGER, bumps INTEGER,
  fastest_bump_m_s REAL, touched INTEGER, touched_in_tray INTEGER, outside_s REAL, farthest_outside_m REAL,
  driven_m REAL);
CREATE TABLE final_objects (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, id TEXT, kind TEXT, x REAL, y REAL,
  place TEXT);
CREATE TABLE gaps (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, table_name TEXT, from_ns INTEGER, to_ns INTEGER,
  samples INTEGER);
CREATE TABLE outcome (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, result TEXT, reason TEXT, summary TEXT);

-- For a person with a SQLite shell: SELECT * FROM story; times count from the run's start, wall_time is UTC.
-- What comes again within 10 s, and is no decision, stands in one row, with how often and until when.
CREATE VIEW story AS WITH began(ns, wall_s) AS (
  SELECT coalesce((SELECT CAST(value AS INTEGER) FROM header WHERE key = 'began_ns'), 0),
    (SELECT CAST(value AS INTEGER) FROM header WHERE key = 'began_wall_ns') / 1e9
), told AS (
  SELECT entry, at_ns, 'state' AS what, left_state || ' -> ' || entered_state || ': ' || exit_taken
    || iif(outcome > '', ' (' || outcome || ')', '')
    || iif(diversions > '[]', ' diverted, tries used up: ' || diversions, '') AS text FROM state_changes
  UNION ALL SELECT entry, at_ns, 'object ' || number, kind || ' ' || what || printf(' at %.3f, %.3f m', x, y)
    || iif(why > '', ': ' || why, '') FROM objects
  UNION ALL SELECT entry, at_ns, 'find', number || ' ' || kind || printf(' at %.3f, %.3f m', x, y) FROM finds
  UNION ALL SELECT entry, at_ns, 'delivery', number || ' ' || kind || ' in slot ' || slot || ', ' || known_by
    FROM deliveries
  UNION ALL SELECT entry, at_ns, 'given up', kind || ': ' || why FROM given_up
  UNION ALL SELECT entry, at_ns, 'health', device || ' ' || health || ': ' || why FROM health
  UNION ALL SELECT entry, at_ns, 'hold-back', cause || iif(ended, ' (ended)', '') FROM hold_backs
  UNION ALL SELECT entry, at_ns, 'stop', cause FROM stops
  UNION ALL SELECT entry, at_ns, kind, text FROM notes
  UNION ALL SELECT entry, at_ns, 'bump', printf('at %.3f, %.3f m, %.2f m/s', x, y, speed) FROM true_bumps
  UNION ALL SELECT entry, at_ns, 'touch', printf('%s %s at %.3f, %.3f m moved %.3f m', kind, id, x, y, moved)
    FROM true_touches
  UNION ALL SELECT entry, at_ns, 'gap', samples || ' of ' || table_name || ' lost' FROM gaps
  UNION ALL SELECT entry, at_ns, 'end', result || ': ' || reason FROM outcome
), apart AS (
  SELECT *, what = 'state' OR ifnull(at_ns - lag(at_ns) OVER again > 10000000000, 1) AS is_first FROM told
  WINDOW again AS (PARTITION BY what, text ORDER BY entry)
), spans AS (
  SELECT *, sum(is_first) OVER (PARTITION BY what, text ORDER BY entry) AS span FROM apart
)
SELECT min(entry) AS entry, (min(at_ns) - ns) / 1e9 AS at_s, what, text, count(*) AS times,
  (max(at_ns) - ns) / 1e9 AS until_s,
  strftime('%Y-%m-%d %H:%M:%S', wall_s + (min(at_ns) - ns) / 1e9, 'unixepoch') AS wall_time
FROM spans, began GROUP BY what, text, span ORDER BY entry;
"""

Entry = Event | TrueFind | TrueBump | TrueTouch | TrueFigures | FinalObject | Gap | RunEnd


EVENT_TABLES: dict[type, str] = {
    StateChange: "state_changes",
    ObjectEvent: "objects",
    Find: "finds",
    Delivery: "deliveries",
    GivenUp: "given_up",
    HealthChange: "health",
    HoldBack: "hold_backs",
    Stop: "stops",
    Note: "notes",
}
ENTRY_TABLES: dict[type, str] = EVENT_TABLES | {
    TrueFind: "true_finds",
    TrueBump: "true_bumps",
    TrueTouch: "true_touches",
    TrueFigures: "truth",
    FinalObject: "final_objects",
    Gap: "gaps",
    RunEnd: "outcome",
}
"""Where the entries of a class are kept: its fields in order are the table's columns after entry and at_ns."""

point_values = attrgetter("x", "y", "heading", "sigma_x", "sigma_y", "sigma_heading", "state")

# Made once: a call of json.dumps with options makes a new encoder each time. What JSON does not know becomes its text.
to_json = json.JSONEncoder(separators=(",", ":"), skipkeys=True, default=str).encode


def awaited_from(plain: dict[str, Any]) -> Awaited:
    """Return the exit of which `asdict` made plain values."""
    lacks = tuple(Lack(**one) for one in plain["lacks"])
    parts = tuple(Part(**one | {"signals": tuple(one["signals"])}) for one in plain["parts"])
    return Awaited(**plain | {"lacks": lacks, "parts": parts})


_DECODE: dict[str, Any] = {
    "values": json.loads,
    "awaited": lambda text: tuple(map(awaited_from, json.loads(text))),
    "diversions": lambda text: tuple(Diversion(**one) for one in json.loads(text)),
    "summary": json.loads,
    "health": Health,
    "ended": bool,
    "in_tray": bool,
}


def entry_row(entry: Entry) -> tuple[object, ...]:
    """Return the columns of an entry after ``entry`` and ``at_ns``. Never fails, whatever the fields hold."""
    return tuple(_column(getattr(entry, field.name)) for field in fields(entry))


def entry_from(kind: type[Any], columns: tuple[object, ...]) -> Any:
    """Return the entry of class ``kind`` that `entry_row` made the columns of; an earlier layout may lack the last."""
    pairs = zip(fields(kind)[: len(columns)], columns, strict=True)
    return kind(*(_value(field.name, column) for field, column in pairs))


def _column(value: object) -> object:
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Mapping):
        return to_json(dict(value))
    if isinstance(value, tuple):
        return to_json([asdict(one) for one in value])
    if isinstance(value, (int, float)):
        return value
    return str(value).encode(errors="replace").decode()


def _value(name: str, column: object) -> object:
    if column is None:
        return float("nan")
    return _DECODE[name](column) if name in _DECODE else column
