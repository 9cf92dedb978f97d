-- A record of layout 3, as the program of then made it.
BEGIN TRANSACTION;
CREATE TABLE deliveries (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, number INTEGER, kind TEXT, slot INTEGER,
  x REAL, y REAL, chance_inside_zone REAL, known_by TEXT);
INSERT INTO "deliveries" VALUES(3,3000000000,1,'amber',4,0.6,0.7,0.9,'seen');
CREATE TABLE final_objects (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, id TEXT, kind TEXT, x REAL, y REAL,
  place TEXT);
CREATE TABLE finds (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, number INTEGER, kind TEXT, x REAL, y REAL,
  xx REAL, xy REAL, yy REAL);
INSERT INTO "finds" VALUES(2,2000000000,1,'amber',1.5,2.5,0.0001,0.0,0.0001);
CREATE TABLE gaps (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, table_name TEXT, from_ns INTEGER, to_ns INTEGER,
  samples INTEGER);
CREATE TABLE given_up (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, kind TEXT, x REAL, y REAL, why TEXT);
INSERT INTO "given_up" VALUES(4,4000000000,'teal',3.0,1.0,'put off');
CREATE TABLE header (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
INSERT INTO "header" VALUES('host','bench');
INSERT INTO "header" VALUES('schema','3');
INSERT INTO "header" VALUES('title','Bring the jars in');
CREATE TABLE health (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, device TEXT, health TEXT, why TEXT);
INSERT INTO "health" VALUES(5,5000000000,'heading','overdue','');
CREATE TABLE hold_backs (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, cause TEXT, ended INTEGER);
CREATE TABLE notes (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, kind TEXT, text TEXT);
INSERT INTO "notes" VALUES(6,6000000000,'operator','held');
CREATE TABLE outcome (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, result TEXT, reason TEXT, summary TEXT);
INSERT INTO "outcome" VALUES(8,8000000000,'done','all_in','{"expected": 2}');
CREATE TABLE readings (at_ns INTEGER NOT NULL, device TEXT NOT NULL, sequence INTEGER, taken_ns INTEGER, value TEXT);
CREATE TABLE state_changes (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, left_state TEXT, entered_state TEXT,
  exit_taken TEXT, written_in TEXT, values_seen TEXT);
INSERT INTO "state_changes" VALUES(1,1000000000,'','seek/look','start','collect.yaml:3','{}');
CREATE TABLE stops (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, cause TEXT);
CREATE TABLE track (at_ns INTEGER NOT NULL, x REAL, y REAL, heading REAL, sigma_x REAL, sigma_y REAL,
  sigma_heading REAL, state TEXT, left_duty REAL, right_duty REAL);
INSERT INTO "track" VALUES(1000000000,0.5,0.5,0.0,0.01,0.01,0.01,'seek/look',0.2,0.2);
CREATE TABLE true_bumps (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, x REAL, y REAL, speed REAL);
CREATE TABLE true_finds (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, number INTEGER, x REAL, y REAL);
INSERT INTO "true_finds" VALUES(7,7000000000,1,1.52,2.49);
CREATE TABLE true_touches (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, id TEXT, kind TEXT, x REAL, y REAL,
  moved REAL, in_tray INTEGER);
CREATE TABLE true_track (at_ns INTEGER NOT NULL, x REAL, y REAL, heading REAL);
CREATE TABLE truth (entry INTEGER PRIMARY KEY, at_ns INTEGER NOT NULL, objects INTEGER, delivered INTEGER,
  empty_finds INTEGER, empty_deliveries INTEGER, let_go_outside INTEGER, fallen INTEGER, bumps INTEGER,
  fastest_bump_m_s REAL, touched INTEGER, touched_in_tray INTEGER, outside_s REAL, farthest_outside_m REAL,
  driven_m REAL);
CREATE VIEW story AS SELECT entry, at_ns / 1e9 AS at_s, what, text FROM (
  SELECT entry, at_ns, 'state' AS what, left_state || ' -> ' || entered_state || ': ' || exit_taken AS text
    FROM state_changes
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
) ORDER BY entry;
COMMIT;
