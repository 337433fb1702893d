-- A shop of layout 3 with a row in every table, as a file of that time holds it. People are invented.
PRAGMA foreign_keys = OFF;
BEGIN TRANSACTION;
CREATE TABLE amps (
  id             INTEGER PRIMARY KEY,
  client         INTEGER NOT NULL REFERENCES clients (id),
  maker          TEXT NOT NULL DEFAULT '',
  model          TEXT NOT NULL DEFAULT '',
  serial         TEXT NOT NULL DEFAULT '',
  cabinet_serial TEXT NOT NULL DEFAULT '',
  about          TEXT NOT NULL DEFAULT '',
  gone           INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "amps" VALUES(1,1,'Marram','Curlew','01187','','two channels, 6V6GT pair, tremolo',0);
CREATE TABLE answers (
  id         INTEGER PRIMARY KEY,
  job        INTEGER NOT NULL REFERENCES jobs (id),
  question   TEXT NOT NULL,
  answer     TEXT NOT NULL,
  at         INTEGER NOT NULL,
  bench      TEXT NOT NULL,
  corrects   INTEGER UNIQUE REFERENCES answers (id),
  withdrawn  INTEGER NOT NULL DEFAULT 0,
  blanked_at INTEGER
) STRICT;
INSERT INTO "answers" VALUES(1,41,'last_played','in spring',1795597200000,'Desk',NULL,0,NULL);
CREATE TABLE attachments (
  hash      TEXT PRIMARY KEY CHECK (length(hash) = 64),
  bytes     INTEGER NOT NULL,
  media     TEXT NOT NULL,
  at        INTEGER NOT NULL,
  erased_at INTEGER
) STRICT, WITHOUT ROWID;
CREATE TABLE authorisations (
  id            INTEGER PRIMARY KEY,
  job           INTEGER NOT NULL REFERENCES jobs (id),
  who           TEXT NOT NULL,
  how           TEXT NOT NULL,
  says          TEXT NOT NULL,
  ceiling_minor INTEGER,
  currency      TEXT NOT NULL,
  at            INTEGER NOT NULL,
  bench         TEXT NOT NULL,
  corrects      INTEGER UNIQUE REFERENCES authorisations (id),
  withdrawn     INTEGER NOT NULL DEFAULT 0,
  blanked_at    INTEGER
) STRICT;
INSERT INTO "authorisations" VALUES(1,41,'Ilsa Brandreth','in person','repair',38000,'EUR',1795597200000,'Desk',NULL,0,NULL);
CREATE TABLE blocks (
  id         INTEGER PRIMARY KEY,
  job        INTEGER NOT NULL REFERENCES jobs (id),
  state      TEXT NOT NULL CHECK (state IN ('as found', 'as left')),
  name       TEXT NOT NULL,
  conditions TEXT NOT NULL,
  instrument INTEGER REFERENCES instruments (id),
  at         INTEGER NOT NULL,
  bench      TEXT NOT NULL,
  corrects   INTEGER UNIQUE REFERENCES blocks (id),
  withdrawn  INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "blocks" VALUES(1,41,'as found','as found','mains 232 V
meter 10M 0.5%',1,1795597200000,'Desk',NULL,0);
CREATE TABLE changes (
  id      INTEGER PRIMARY KEY AUTOINCREMENT,
  entry   INTEGER NOT NULL REFERENCES journal (id),
  tbl     TEXT NOT NULL,
  row     INTEGER NOT NULL,
  columns TEXT NOT NULL,
  before  TEXT,
  after   TEXT
) STRICT;
INSERT INTO "changes" VALUES(1,1,'jobs',41,'gone','{"gone":1}','{"gone":0}');
CREATE TABLE client_details (
  id         INTEGER PRIMARY KEY,
  client     INTEGER NOT NULL REFERENCES clients (id),
  name       TEXT NOT NULL,
  phone      TEXT NOT NULL,
  email      TEXT NOT NULL,
  address    TEXT NOT NULL,
  note       TEXT NOT NULL,
  at         INTEGER NOT NULL,
  bench      TEXT NOT NULL,
  corrects   INTEGER UNIQUE REFERENCES client_details (id),
  withdrawn  INTEGER NOT NULL DEFAULT 0,
  blanked_at INTEGER
) STRICT;
INSERT INTO "client_details" VALUES(1,1,'Ilsa Brandreth','0555 0188','','','',1795597200000,'Desk',NULL,0,NULL);
CREATE TABLE clients (
  id   INTEGER PRIMARY KEY,
  gone INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "clients" VALUES(1,0);
CREATE TABLE date_codes (
  id        INTEGER PRIMARY KEY,
  job       INTEGER NOT NULL REFERENCES jobs (id),
  found_on  TEXT NOT NULL,
  code      TEXT NOT NULL,
  untouched TEXT NOT NULL DEFAULT 'unsure' CHECK (untouched IN ('yes', 'no', 'unsure')),
  gone      INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "date_codes" VALUES(1,41,'choke','123 907','yes',0);
CREATE TABLE deliveries (
  id        INTEGER PRIMARY KEY,
  line      INTEGER NOT NULL REFERENCES order_lines (id),
  came      TEXT NOT NULL CHECK (came IN ('right', 'wrong', 'substituted', 'back-ordered', 'returned')),
  quantity  INTEGER NOT NULL CHECK (quantity > 0),
  promised  TEXT NOT NULL,
  note      TEXT NOT NULL,
  at        INTEGER NOT NULL,
  bench     TEXT NOT NULL,
  corrects  INTEGER UNIQUE REFERENCES deliveries (id),
  withdrawn INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "deliveries" VALUES(1,1,'wrong',1,'','two singles',1795597200000,'Desk',NULL,0);
CREATE TABLE hours (
  id         INTEGER PRIMARY KEY,
  job        INTEGER NOT NULL REFERENCES jobs (id),
  task       TEXT NOT NULL,
  started_at INTEGER NOT NULL,
  stopped_at INTEGER,
  billable   INTEGER NOT NULL DEFAULT 1,
  note       TEXT NOT NULL DEFAULT '',
  gone       INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "hours" VALUES(1,41,'chart',1795597200000,1795597260000,1,'',0);
CREATE TABLE instruments (
  id            INTEGER PRIMARY KEY,
  name          TEXT NOT NULL,
  kind          TEXT NOT NULL DEFAULT '',
  serial        TEXT NOT NULL DEFAULT '',
  input_ohms    REAL,
  error_percent REAL,
  digits        REAL,
  calibrated    TEXT NOT NULL DEFAULT '',
  note          TEXT NOT NULL DEFAULT '',
  gone          INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "instruments" VALUES(1,'red meter','','',10000000.0,0.5,NULL,'2026-03-01','',0);
CREATE TABLE jobs (
  id             INTEGER PRIMARY KEY,
  amp            INTEGER NOT NULL REFERENCES amps (id),
  opened_at      INTEGER NOT NULL,
  closed_at      INTEGER,
  step           TEXT NOT NULL DEFAULT 'intake',
  waits_for      TEXT NOT NULL DEFAULT 'you' CHECK (waits_for IN ('you', 'parts', 'answer', 'time')),
  waits_text     TEXT NOT NULL DEFAULT '',
  next_text      TEXT NOT NULL DEFAULT '',
  promised       TEXT NOT NULL DEFAULT '',
  purpose        TEXT NOT NULL DEFAULT '',
  accessories    TEXT NOT NULL DEFAULT '',
  bag            TEXT NOT NULL DEFAULT '',
  shelf          TEXT NOT NULL DEFAULT '',
  gone           INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "jobs" VALUES(41,1,1795597200000,NULL,'chart','parts','6V6GT pair, sent wrong','','','','','','',0);
CREATE TABLE journal (
  id     INTEGER PRIMARY KEY AUTOINCREMENT,
  at     INTEGER NOT NULL,
  bench  TEXT NOT NULL,
  job    INTEGER,
  says   TEXT NOT NULL,
  undoes INTEGER UNIQUE REFERENCES journal (id)
) STRICT;
INSERT INTO "journal" VALUES(1,1795597200000,'Desk',41,'taken in: Marram Curlew',NULL);
CREATE TABLE needs (
  id       INTEGER PRIMARY KEY,
  job      INTEGER REFERENCES jobs (id),
  what     TEXT NOT NULL,
  part     TEXT NOT NULL DEFAULT '',
  spec     TEXT NOT NULL DEFAULT '',
  unit     TEXT NOT NULL CHECK (unit IN ('piece', 'pair', 'set', 'length')),
  quantity INTEGER NOT NULL CHECK (quantity > 0),
  why      TEXT NOT NULL DEFAULT '',
  gone     INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "needs" VALUES(1,41,'output valves','V5','6V6GT, matched','pair',1,'gassy',0);
CREATE TABLE notes (
  id         INTEGER PRIMARY KEY,
  job        INTEGER NOT NULL REFERENCES jobs (id),
  about      TEXT NOT NULL,
  text       TEXT NOT NULL,
  at         INTEGER NOT NULL,
  bench      TEXT NOT NULL,
  corrects   INTEGER UNIQUE REFERENCES notes (id),
  withdrawn  INTEGER NOT NULL DEFAULT 0,
  blanked_at INTEGER
) STRICT;
INSERT INTO "notes" VALUES(1,41,'','smells of wax',1795597200000,'Desk',NULL,0,NULL);
CREATE TABLE order_lines (
  id          INTEGER PRIMARY KEY,
  of_order    INTEGER NOT NULL REFERENCES orders (id),
  need        INTEGER REFERENCES needs (id),
  what        TEXT NOT NULL,
  spec        TEXT NOT NULL DEFAULT '',
  unit        TEXT NOT NULL CHECK (unit IN ('piece', 'pair', 'set', 'length')),
  quantity    INTEGER NOT NULL CHECK (quantity > 0),
  given_up    INTEGER NOT NULL DEFAULT 0 CHECK (given_up BETWEEN 0 AND quantity),
  price_minor INTEGER CHECK (price_minor >= 0),
  promised    TEXT NOT NULL DEFAULT '',
  gone        INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "order_lines" VALUES(1,1,1,'output valves','6V6GT, matched','pair',1,0,4250,'2026-11-28',0);
CREATE TABLE orders (
  id         INTEGER PRIMARY KEY,
  vendor     INTEGER NOT NULL REFERENCES vendors (id),
  reference  TEXT NOT NULL DEFAULT '',
  ordered_on TEXT NOT NULL,
  currency   TEXT NOT NULL,
  note       TEXT NOT NULL DEFAULT '',
  gone       INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "orders" VALUES(1,1,'Q 118','2026-11-20','EUR','',0);
CREATE TABLE owner_words (
  id         INTEGER PRIMARY KEY,
  job        INTEGER NOT NULL REFERENCES jobs (id),
  text       TEXT NOT NULL,
  at         INTEGER NOT NULL,
  bench      TEXT NOT NULL,
  corrects   INTEGER UNIQUE REFERENCES owner_words (id),
  withdrawn  INTEGER NOT NULL DEFAULT 0,
  blanked_at INTEGER
) STRICT;
INSERT INTO "owner_words" VALUES(1,41,'Hums whatever I do.',1795597200000,'Desk',NULL,0,NULL);
CREATE TABLE part_states (
  id        INTEGER PRIMARY KEY,
  job       INTEGER NOT NULL REFERENCES jobs (id),
  part      TEXT NOT NULL,
  state     TEXT NOT NULL CHECK (state IN ('original', 'replaced', 'added', 'removed')),
  was       TEXT NOT NULL,
  now       TEXT NOT NULL,
  note      TEXT NOT NULL,
  at        INTEGER NOT NULL,
  bench     TEXT NOT NULL,
  corrects  INTEGER UNIQUE REFERENCES part_states (id),
  withdrawn INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "part_states" VALUES(1,41,'C1','original','','','',1795597200000,'Desk',NULL,0);
CREATE TABLE photos (
  id         INTEGER PRIMARY KEY,
  job        INTEGER NOT NULL REFERENCES jobs (id),
  original   TEXT NOT NULL REFERENCES attachments (hash),
  shown      TEXT NOT NULL REFERENCES attachments (hash),
  thumbnail  TEXT NOT NULL REFERENCES attachments (hash),
  file_name  TEXT NOT NULL,
  caption    TEXT NOT NULL,
  width      INTEGER NOT NULL,
  height     INTEGER NOT NULL,
  at         INTEGER NOT NULL,
  bench      TEXT NOT NULL,
  corrects   INTEGER UNIQUE REFERENCES photos (id),
  withdrawn  INTEGER NOT NULL DEFAULT 0,
  blanked_at INTEGER
) STRICT;
CREATE TABLE power_states (
  id         INTEGER PRIMARY KEY,
  job        INTEGER NOT NULL REFERENCES jobs (id),
  what       TEXT NOT NULL CHECK (what IN ('plug in', 'plug out', 'read', 'stores', 'no more points')),
  point      TEXT NOT NULL,
  volts      REAL,
  instrument INTEGER REFERENCES instruments (id),
  at         INTEGER NOT NULL,
  bench      TEXT NOT NULL,
  corrects   INTEGER UNIQUE REFERENCES power_states (id),
  withdrawn  INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "power_states" VALUES(1,41,'plug out','',NULL,NULL,1795597200000,'Desk',NULL,0);
INSERT INTO "power_states" VALUES(2,41,'read','B1',0.4,1,1795597200000,'Desk',NULL,0);
CREATE TABLE readings (
  id         INTEGER PRIMARY KEY,
  block      INTEGER NOT NULL REFERENCES blocks (id),
  point      TEXT NOT NULL,
  shown      TEXT NOT NULL,
  unit       TEXT NOT NULL,
  instrument INTEGER REFERENCES instruments (id),
  note       TEXT NOT NULL,
  at         INTEGER NOT NULL,
  bench      TEXT NOT NULL,
  corrects   INTEGER UNIQUE REFERENCES readings (id),
  withdrawn  INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "readings" VALUES(1,1,'B1','3580','',1,'',1795597200000,'Desk',NULL,0);
INSERT INTO "readings" VALUES(2,1,'B1','358','',1,'',1795597200001,'Desk',1,0);
CREATE TABLE recordings (
  id        INTEGER PRIMARY KEY,
  job       INTEGER NOT NULL REFERENCES jobs (id),
  original  TEXT NOT NULL REFERENCES attachments (hash),
  file_name TEXT NOT NULL,
  caption   TEXT NOT NULL,
  at        INTEGER NOT NULL,
  bench     TEXT NOT NULL,
  corrects  INTEGER UNIQUE REFERENCES recordings (id),
  withdrawn INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE TABLE results (
  id         INTEGER PRIMARY KEY,
  job        INTEGER NOT NULL REFERENCES jobs (id),
  sheet      TEXT NOT NULL,
  item       TEXT NOT NULL,
  result     TEXT NOT NULL CHECK (result IN ('pass', 'fail', 'open', 'not there')),
  shown      TEXT NOT NULL,
  unit       TEXT NOT NULL,
  limit_text TEXT NOT NULL,
  source     TEXT NOT NULL,
  instrument INTEGER REFERENCES instruments (id),
  note       TEXT NOT NULL,
  at         INTEGER NOT NULL,
  bench      TEXT NOT NULL,
  corrects   INTEGER UNIQUE REFERENCES results (id),
  withdrawn  INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "results" VALUES(1,41,'safety','earth bond','pass','0.04','ohm','at most 0.1 ohm','common practice',1,'',1795597200000,'Desk',NULL,0);
CREATE TABLE settings (
  id    INTEGER PRIMARY KEY,
  name  TEXT NOT NULL UNIQUE,
  value TEXT NOT NULL,
  gone  INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "settings" VALUES(1,'bench_name','Desk',0);
CREATE TABLE sheets (
  id        INTEGER PRIMARY KEY,
  job       INTEGER NOT NULL REFERENCES jobs (id),
  kind      TEXT NOT NULL,
  given     TEXT NOT NULL,
  outcome   TEXT NOT NULL,
  at        INTEGER NOT NULL,
  bench     TEXT NOT NULL,
  corrects  INTEGER UNIQUE REFERENCES sheets (id),
  withdrawn INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "sheets" VALUES(1,41,'bias','{}','{}',1795597200000,'Desk',NULL,0);
CREATE TABLE shop (
  id      INTEGER PRIMARY KEY CHECK (id = 1),
  made_at INTEGER NOT NULL
) STRICT;
INSERT INTO "shop" VALUES(1,1795597200000);
CREATE TABLE steps (
  id    INTEGER PRIMARY KEY,
  job   INTEGER NOT NULL REFERENCES jobs (id),
  step  TEXT NOT NULL,
  state TEXT NOT NULL CHECK (state IN ('done', 'held', 'open')),
  at    INTEGER NOT NULL,
  gone  INTEGER NOT NULL DEFAULT 0,
  UNIQUE (job, step)
) STRICT;
INSERT INTO "steps" VALUES(1,41,'intake','done',1795597200000,0);
CREATE TABLE stock_items (
  id    INTEGER PRIMARY KEY,
  what  TEXT NOT NULL,
  spec  TEXT NOT NULL DEFAULT '',
  unit  TEXT NOT NULL CHECK (unit IN ('piece', 'pair', 'set', 'length')),
  place TEXT NOT NULL DEFAULT '',
  gone  INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "stock_items" VALUES(1,'hook-up wire','PVC 0.5 mm2 600 V','length','drawer 3',0);
CREATE TABLE stock_moves (
  id        INTEGER PRIMARY KEY,
  item      INTEGER NOT NULL REFERENCES stock_items (id),
  quantity  INTEGER NOT NULL CHECK (quantity <> 0 AND abs(quantity) <= 1000000000),
  need      INTEGER REFERENCES needs (id),
  note      TEXT NOT NULL,
  at        INTEGER NOT NULL,
  bench     TEXT NOT NULL,
  corrects  INTEGER UNIQUE REFERENCES stock_moves (id),
  withdrawn INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "stock_moves" VALUES(1,1,1500,NULL,'counted',1795597200000,'Desk',NULL,0);
INSERT INTO "stock_moves" VALUES(2,1,-120,1,'',1795597200000,'Desk',NULL,0);
CREATE TABLE ties (
  id     INTEGER PRIMARY KEY,
  photo  INTEGER NOT NULL REFERENCES photos (id),
  kind   TEXT NOT NULL CHECK (kind IN ('part', 'point', 'work', 'reading', 'valve', 'sheet')),
  target TEXT NOT NULL,
  gone   INTEGER NOT NULL DEFAULT 0,
  UNIQUE (photo, kind, target)
) STRICT;
CREATE TABLE valves_fitted (
  id         INTEGER PRIMARY KEY,
  job        INTEGER NOT NULL REFERENCES jobs (id),
  socket     TEXT NOT NULL,
  meant      TEXT NOT NULL,
  found      TEXT NOT NULL,
  print      TEXT NOT NULL,
  date_code  TEXT NOT NULL,
  tester     TEXT NOT NULL,
  instrument INTEGER REFERENCES instruments (id),
  note       TEXT NOT NULL,
  at         INTEGER NOT NULL,
  bench      TEXT NOT NULL,
  corrects   INTEGER UNIQUE REFERENCES valves_fitted (id),
  withdrawn  INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "valves_fitted" VALUES(1,41,'V5','6V6GT','6V6GT','worn off','','80',1,'',1795597200000,'Desk',NULL,0);
CREATE TABLE vendors (
  id      INTEGER PRIMARY KEY,
  name    TEXT NOT NULL,
  contact TEXT NOT NULL DEFAULT '',
  note    TEXT NOT NULL DEFAULT '',
  gone    INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "vendors" VALUES(1,'Quillon Valves','by letter','',0);
CREATE TABLE verdicts (
  id        INTEGER PRIMARY KEY,
  job       INTEGER NOT NULL REFERENCES jobs (id),
  part      TEXT NOT NULL,
  verdict   TEXT NOT NULL CHECK (verdict IN ('keep', 'watch', 'replace')),
  proposed  TEXT NOT NULL CHECK (proposed IN ('', 'keep', 'watch', 'replace')),
  reason    TEXT NOT NULL,
  at        INTEGER NOT NULL,
  bench     TEXT NOT NULL,
  corrects  INTEGER UNIQUE REFERENCES verdicts (id),
  withdrawn INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "verdicts" VALUES(1,41,'C1','watch','replace','quiet, and the owner wants it kept',1795597200000,'Desk',NULL,0);
CREATE TABLE wiring_revisions (
  id     INTEGER PRIMARY KEY,
  wiring INTEGER NOT NULL REFERENCES wirings (id),
  number INTEGER NOT NULL,
  text   TEXT NOT NULL,
  base   INTEGER REFERENCES wiring_revisions (id),
  how    TEXT NOT NULL CHECK (how IN ('typed', 'joined', 'aside', 'undone')),
  at     INTEGER NOT NULL,
  bench  TEXT NOT NULL
) STRICT;
INSERT INTO "wiring_revisions" VALUES(1,1,1,'V1 12AX7
',NULL,'typed',1795597200000,'Desk');
INSERT INTO "wiring_revisions" VALUES(2,1,2,'V1 12AX7
V1.1 - R1 100k - B3
',1,'typed',1795597200001,'Phone');
CREATE TABLE wirings (
  id    INTEGER PRIMARY KEY,
  job   INTEGER REFERENCES jobs (id),
  state TEXT NOT NULL CHECK (state IN ('as found', 'as left', 'as drawn')),
  name  TEXT NOT NULL,
  gone  INTEGER NOT NULL DEFAULT 0,
  UNIQUE (job, state, name),
  CHECK (job IS NOT NULL OR state = 'as drawn')
) STRICT;
INSERT INTO "wirings" VALUES(1,41,'as found','',0);
CREATE TABLE work_items (
  id        INTEGER PRIMARY KEY,
  job       INTEGER NOT NULL REFERENCES jobs (id),
  title     TEXT NOT NULL,
  part      TEXT NOT NULL DEFAULT '',
  why       TEXT NOT NULL DEFAULT '',
  state     TEXT NOT NULL DEFAULT 'open' CHECK (state IN ('open', 'done', 'declined')),
  answer    TEXT NOT NULL DEFAULT '',
  before    TEXT NOT NULL DEFAULT '',
  after     TEXT NOT NULL DEFAULT '',
  part_used TEXT NOT NULL DEFAULT '',
  minutes   INTEGER NOT NULL DEFAULT 0,
  ended_at  INTEGER,
  gone      INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO "work_items" VALUES(1,41,'clean the sockets','','','done','','','','',20,1795597200000,0);
CREATE INDEX journal_job ON journal (job, id);
CREATE INDEX changes_entry ON changes (entry);
CREATE INDEX changes_row ON changes (tbl, row, entry);
CREATE INDEX client_details_client ON client_details (client, id);
CREATE INDEX amps_client ON amps (client);
CREATE INDEX jobs_amp ON jobs (amp);
CREATE INDEX jobs_open ON jobs (id) WHERE closed_at IS NULL AND gone = 0;
CREATE INDEX owner_words_job ON owner_words (job);
CREATE INDEX answers_job ON answers (job);
CREATE INDEX date_codes_job ON date_codes (job);
CREATE INDEX authorisations_job ON authorisations (job);
CREATE INDEX valves_fitted_job ON valves_fitted (job);
CREATE UNIQUE INDEX wiring_revisions_number ON wiring_revisions (wiring, number) WHERE number > 0;
CREATE INDEX wiring_revisions_wiring ON wiring_revisions (wiring, id);
CREATE INDEX blocks_job ON blocks (job, id);
CREATE INDEX readings_block ON readings (block, id);
CREATE INDEX power_states_job ON power_states (job, id);
CREATE INDEX results_job ON results (job, sheet, id);
CREATE INDEX sheets_job ON sheets (job, kind, id);
CREATE INDEX part_states_job ON part_states (job, id);
CREATE INDEX verdicts_job ON verdicts (job, id);
CREATE INDEX work_items_job ON work_items (job);
CREATE INDEX hours_job ON hours (job);
CREATE INDEX notes_job ON notes (job, id);
CREATE INDEX photos_job ON photos (job, id);
CREATE INDEX recordings_job ON recordings (job, id);
CREATE INDEX ties_photo ON ties (photo);
CREATE TRIGGER settings_last BEFORE DELETE ON settings
  BEGIN SELECT RAISE (ABORT, 'settings are never deleted: mark the row as gone'); END;
CREATE TRIGGER journal_stay BEFORE UPDATE ON journal
  BEGIN SELECT RAISE (ABORT, 'journal are never changed: write a correction'); END;
CREATE TRIGGER journal_last BEFORE DELETE ON journal
  BEGIN SELECT RAISE (ABORT, 'journal are never deleted: write a correction'); END;
CREATE TRIGGER changes_stay BEFORE UPDATE ON changes
  BEGIN SELECT RAISE (ABORT, 'changes are never changed: write a correction'); END;
CREATE TRIGGER changes_last BEFORE DELETE ON changes
  BEGIN SELECT RAISE (ABORT, 'changes are never deleted: write a correction'); END;
CREATE TRIGGER clients_last BEFORE DELETE ON clients
  BEGIN SELECT RAISE (ABORT, 'clients are never deleted: mark the row as gone'); END;
CREATE TRIGGER client_details_stay BEFORE UPDATE ON client_details
  WHEN old.blanked_at IS NOT NULL
    OR new.blanked_at IS NULL
    OR new.name <> ''
    OR new.phone <> ''
    OR new.email <> ''
    OR new.address <> ''
    OR new.note <> ''
    OR new.id IS NOT old.id
    OR new.client IS NOT old.client
    OR new.at IS NOT old.at
    OR new.bench IS NOT old.bench
    OR new.corrects IS NOT old.corrects
    OR new.withdrawn IS NOT old.withdrawn
  BEGIN SELECT RAISE (ABORT, 'client_details are never changed, only blanked: write a correction'); END;
CREATE TRIGGER client_details_last BEFORE DELETE ON client_details
  BEGIN SELECT RAISE (ABORT, 'client_details are never deleted: write a correction'); END;
CREATE TRIGGER amps_last BEFORE DELETE ON amps
  BEGIN SELECT RAISE (ABORT, 'amps are never deleted: mark the row as gone'); END;
CREATE TRIGGER jobs_last BEFORE DELETE ON jobs
  BEGIN SELECT RAISE (ABORT, 'jobs are never deleted: mark the row as gone'); END;
CREATE TRIGGER steps_last BEFORE DELETE ON steps
  BEGIN SELECT RAISE (ABORT, 'steps are never deleted: mark the row as gone'); END;
CREATE TRIGGER owner_words_stay BEFORE UPDATE ON owner_words
  WHEN old.blanked_at IS NOT NULL
    OR new.blanked_at IS NULL
    OR new.text <> ''
    OR new.id IS NOT old.id
    OR new.job IS NOT old.job
    OR new.at IS NOT old.at
    OR new.bench IS NOT old.bench
    OR new.corrects IS NOT old.corrects
    OR new.withdrawn IS NOT old.withdrawn
  BEGIN SELECT RAISE (ABORT, 'owner_words are never changed, only blanked: write a correction'); END;
CREATE TRIGGER owner_words_last BEFORE DELETE ON owner_words
  BEGIN SELECT RAISE (ABORT, 'owner_words are never deleted: write a correction'); END;
CREATE TRIGGER answers_stay BEFORE UPDATE ON answers
  WHEN old.blanked_at IS NOT NULL
    OR new.blanked_at IS NULL
    OR new.answer <> ''
    OR new.id IS NOT old.id
    OR new.job IS NOT old.job
    OR new.question IS NOT old.question
    OR new.at IS NOT old.at
    OR new.bench IS NOT old.bench
    OR new.corrects IS NOT old.corrects
    OR new.withdrawn IS NOT old.withdrawn
  BEGIN SELECT RAISE (ABORT, 'answers are never changed, only blanked: write a correction'); END;
CREATE TRIGGER answers_last BEFORE DELETE ON answers
  BEGIN SELECT RAISE (ABORT, 'answers are never deleted: write a correction'); END;
CREATE TRIGGER date_codes_last BEFORE DELETE ON date_codes
  BEGIN SELECT RAISE (ABORT, 'date_codes are never deleted: mark the row as gone'); END;
CREATE TRIGGER authorisations_stay BEFORE UPDATE ON authorisations
  WHEN old.blanked_at IS NOT NULL
    OR new.blanked_at IS NULL
    OR new.who <> ''
    OR new.says <> ''
    OR new.id IS NOT old.id
    OR new.job IS NOT old.job
    OR new.how IS NOT old.how
    OR new.ceiling_minor IS NOT old.ceiling_minor
    OR new.currency IS NOT old.currency
    OR new.at IS NOT old.at
    OR new.bench IS NOT old.bench
    OR new.corrects IS NOT old.corrects
    OR new.withdrawn IS NOT old.withdrawn
  BEGIN SELECT RAISE (ABORT, 'authorisations are never changed, only blanked: write a correction'); END;
CREATE TRIGGER authorisations_last BEFORE DELETE ON authorisations
  BEGIN SELECT RAISE (ABORT, 'authorisations are never deleted: write a correction'); END;
CREATE TRIGGER instruments_last BEFORE DELETE ON instruments
  BEGIN SELECT RAISE (ABORT, 'instruments are never deleted: mark the row as gone'); END;
CREATE TRIGGER valves_fitted_stay BEFORE UPDATE ON valves_fitted
  BEGIN SELECT RAISE (ABORT, 'valves_fitted are never changed: write a correction'); END;
CREATE TRIGGER valves_fitted_last BEFORE DELETE ON valves_fitted
  BEGIN SELECT RAISE (ABORT, 'valves_fitted are never deleted: write a correction'); END;
CREATE TRIGGER wirings_last BEFORE DELETE ON wirings
  BEGIN SELECT RAISE (ABORT, 'wirings are never deleted: mark the row as gone'); END;
CREATE TRIGGER wiring_revisions_stay BEFORE UPDATE ON wiring_revisions
  BEGIN SELECT RAISE (ABORT, 'wiring_revisions are never changed: write a correction'); END;
CREATE TRIGGER wiring_revisions_last BEFORE DELETE ON wiring_revisions
  BEGIN SELECT RAISE (ABORT, 'wiring_revisions are never deleted: write a correction'); END;
CREATE TRIGGER blocks_stay BEFORE UPDATE ON blocks
  BEGIN SELECT RAISE (ABORT, 'blocks are never changed: write a correction'); END;
CREATE TRIGGER blocks_last BEFORE DELETE ON blocks
  BEGIN SELECT RAISE (ABORT, 'blocks are never deleted: write a correction'); END;
CREATE TRIGGER readings_stay BEFORE UPDATE ON readings
  BEGIN SELECT RAISE (ABORT, 'readings are never changed: write a correction'); END;
CREATE TRIGGER readings_last BEFORE DELETE ON readings
  BEGIN SELECT RAISE (ABORT, 'readings are never deleted: write a correction'); END;
CREATE TRIGGER power_states_stay BEFORE UPDATE ON power_states
  BEGIN SELECT RAISE (ABORT, 'power_states are never changed: write a correction'); END;
CREATE TRIGGER power_states_last BEFORE DELETE ON power_states
  BEGIN SELECT RAISE (ABORT, 'power_states are never deleted: write a correction'); END;
CREATE TRIGGER results_stay BEFORE UPDATE ON results
  BEGIN SELECT RAISE (ABORT, 'results are never changed: write a correction'); END;
CREATE TRIGGER results_last BEFORE DELETE ON results
  BEGIN SELECT RAISE (ABORT, 'results are never deleted: write a correction'); END;
CREATE TRIGGER sheets_stay BEFORE UPDATE ON sheets
  BEGIN SELECT RAISE (ABORT, 'sheets are never changed: write a correction'); END;
CREATE TRIGGER sheets_last BEFORE DELETE ON sheets
  BEGIN SELECT RAISE (ABORT, 'sheets are never deleted: write a correction'); END;
CREATE TRIGGER part_states_stay BEFORE UPDATE ON part_states
  BEGIN SELECT RAISE (ABORT, 'part_states are never changed: write a correction'); END;
CREATE TRIGGER part_states_last BEFORE DELETE ON part_states
  BEGIN SELECT RAISE (ABORT, 'part_states are never deleted: write a correction'); END;
CREATE TRIGGER verdicts_stay BEFORE UPDATE ON verdicts
  BEGIN SELECT RAISE (ABORT, 'verdicts are never changed: write a correction'); END;
CREATE TRIGGER verdicts_last BEFORE DELETE ON verdicts
  BEGIN SELECT RAISE (ABORT, 'verdicts are never deleted: write a correction'); END;
CREATE TRIGGER work_items_last BEFORE DELETE ON work_items
  BEGIN SELECT RAISE (ABORT, 'work_items are never deleted: mark the row as gone'); END;
CREATE TRIGGER hours_last BEFORE DELETE ON hours
  BEGIN SELECT RAISE (ABORT, 'hours are never deleted: mark the row as gone'); END;
CREATE TRIGGER notes_stay BEFORE UPDATE ON notes
  WHEN old.blanked_at IS NOT NULL
    OR new.blanked_at IS NULL
    OR new.text <> ''
    OR new.id IS NOT old.id
    OR new.job IS NOT old.job
    OR new.about IS NOT old.about
    OR new.at IS NOT old.at
    OR new.bench IS NOT old.bench
    OR new.corrects IS NOT old.corrects
    OR new.withdrawn IS NOT old.withdrawn
  BEGIN SELECT RAISE (ABORT, 'notes are never changed, only blanked: write a correction'); END;
CREATE TRIGGER notes_last BEFORE DELETE ON notes
  BEGIN SELECT RAISE (ABORT, 'notes are never deleted: write a correction'); END;
CREATE TRIGGER attachments_stay BEFORE UPDATE ON attachments
  WHEN old.erased_at IS NOT NULL
    OR new.erased_at IS NULL
    OR new.hash IS NOT old.hash
    OR new.bytes IS NOT old.bytes
    OR new.media IS NOT old.media
    OR new.at IS NOT old.at
  BEGIN SELECT RAISE (ABORT, 'attachments are never changed, only erased'); END;
CREATE TRIGGER attachments_last BEFORE DELETE ON attachments
  BEGIN SELECT RAISE (ABORT, 'attachments are never deleted'); END;
CREATE TRIGGER photos_stay BEFORE UPDATE ON photos
  WHEN old.blanked_at IS NOT NULL
    OR new.blanked_at IS NULL
    OR new.file_name <> ''
    OR new.caption <> ''
    OR new.id IS NOT old.id
    OR new.job IS NOT old.job
    OR new.original IS NOT old.original
    OR new.shown IS NOT old.shown
    OR new.thumbnail IS NOT old.thumbnail
    OR new.width IS NOT old.width
    OR new.height IS NOT old.height
    OR new.at IS NOT old.at
    OR new.bench IS NOT old.bench
    OR new.corrects IS NOT old.corrects
    OR new.withdrawn IS NOT old.withdrawn
  BEGIN SELECT RAISE (ABORT, 'photos are never changed, only blanked: write a correction'); END;
CREATE TRIGGER photos_last BEFORE DELETE ON photos
  BEGIN SELECT RAISE (ABORT, 'photos are never deleted: write a correction'); END;
CREATE TRIGGER recordings_stay BEFORE UPDATE ON recordings
  BEGIN SELECT RAISE (ABORT, 'recordings are never changed: write a correction'); END;
CREATE TRIGGER recordings_last BEFORE DELETE ON recordings
  BEGIN SELECT RAISE (ABORT, 'recordings are never deleted: write a correction'); END;
CREATE TRIGGER ties_last BEFORE DELETE ON ties
  BEGIN SELECT RAISE (ABORT, 'ties are never deleted: mark the row as gone'); END;
CREATE INDEX needs_job ON needs (job);
CREATE INDEX orders_vendor ON orders (vendor);
CREATE INDEX order_lines_order ON order_lines (of_order);
CREATE INDEX order_lines_need ON order_lines (need);
CREATE INDEX deliveries_line ON deliveries (line, id);
CREATE INDEX stock_moves_item ON stock_moves (item, id);
CREATE INDEX stock_moves_need ON stock_moves (need);
CREATE TRIGGER vendors_last BEFORE DELETE ON vendors
  BEGIN SELECT RAISE (ABORT, 'vendors are never deleted: mark the row as gone'); END;
CREATE TRIGGER needs_last BEFORE DELETE ON needs
  BEGIN SELECT RAISE (ABORT, 'needs are never deleted: mark the row as gone'); END;
CREATE TRIGGER orders_last BEFORE DELETE ON orders
  BEGIN SELECT RAISE (ABORT, 'orders are never deleted: mark the row as gone'); END;
CREATE TRIGGER order_lines_last BEFORE DELETE ON order_lines
  BEGIN SELECT RAISE (ABORT, 'order_lines are never deleted: mark the row as gone'); END;
CREATE TRIGGER stock_items_last BEFORE DELETE ON stock_items
  BEGIN SELECT RAISE (ABORT, 'stock_items are never deleted: mark the row as gone'); END;
CREATE TRIGGER deliveries_stay BEFORE UPDATE ON deliveries
  BEGIN SELECT RAISE (ABORT, 'deliveries are never changed: write a correction'); END;
CREATE TRIGGER deliveries_last BEFORE DELETE ON deliveries
  BEGIN SELECT RAISE (ABORT, 'deliveries are never deleted: write a correction'); END;
CREATE TRIGGER stock_moves_stay BEFORE UPDATE ON stock_moves
  BEGIN SELECT RAISE (ABORT, 'stock_moves are never changed: write a correction'); END;
CREATE TRIGGER stock_moves_last BEFORE DELETE ON stock_moves
  BEGIN SELECT RAISE (ABORT, 'stock_moves are never deleted: write a correction'); END;
CREATE TRIGGER stock_moves_cover AFTER INSERT ON stock_moves
  WHEN (SELECT coalesce(sum(m.quantity), 0) FROM stock_moves m
        WHERE m.item = new.item AND m.withdrawn = 0
          AND NOT EXISTS (SELECT 1 FROM stock_moves n WHERE n.corrects = m.id)) < 0
  BEGIN SELECT RAISE (ABORT, 'stock never goes below nothing: put in what is there first'); END;
CREATE TABLE estimate_items (
  id         INTEGER PRIMARY KEY,
  job        INTEGER NOT NULL REFERENCES jobs (id),
  sort       TEXT NOT NULL CHECK (sort IN ('safety', 'repair', 'prevention', 'wishes')),
  what       TEXT NOT NULL,
  part       TEXT NOT NULL DEFAULT '',
  why        TEXT NOT NULL DEFAULT '',
  low_minor  INTEGER NOT NULL CHECK (low_minor >= 0),
  high_minor INTEGER NOT NULL CHECK (high_minor BETWEEN low_minor AND 100000000000),
  currency   TEXT NOT NULL,
  gone       INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX estimate_items_job ON estimate_items (job);

CREATE TABLE estimate_answers (
  id          INTEGER PRIMARY KEY,
  item        INTEGER NOT NULL REFERENCES estimate_items (id),
  answer      TEXT NOT NULL CHECK (answer IN ('yes', 'no')),
  answered_on TEXT NOT NULL,
  says        TEXT NOT NULL,
  at          INTEGER NOT NULL,
  bench       TEXT NOT NULL,
  corrects    INTEGER UNIQUE REFERENCES estimate_answers (id),
  withdrawn   INTEGER NOT NULL DEFAULT 0,
  blanked_at  INTEGER
) STRICT;
CREATE INDEX estimate_answers_item ON estimate_answers (item, id);

CREATE TABLE rates (
  id         INTEGER PRIMARY KEY,
  task       TEXT NOT NULL UNIQUE,
  hour_minor INTEGER NOT NULL CHECK (hour_minor BETWEEN 0 AND 100000000),
  gone       INTEGER NOT NULL DEFAULT 0
) STRICT;

CREATE TABLE taxes (
  id            INTEGER PRIMARY KEY,
  name          TEXT NOT NULL,
  milli_percent INTEGER NOT NULL CHECK (milli_percent BETWEEN 0 AND 100000),
  gone          INTEGER NOT NULL DEFAULT 0
) STRICT;

CREATE TABLE charges (
  id           INTEGER PRIMARY KEY,
  job          INTEGER NOT NULL REFERENCES jobs (id),
  sort         TEXT NOT NULL CHECK (sort IN ('part', 'work', 'fee', 'credit')),
  what         TEXT NOT NULL,
  amount_minor INTEGER NOT NULL CHECK (amount_minor BETWEEN 0 AND 100000000000),
  currency     TEXT NOT NULL,
  taxed        INTEGER NOT NULL DEFAULT 1,
  line         INTEGER REFERENCES order_lines (id),
  gone         INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX charges_job ON charges (job);

CREATE TABLE payments (
  id           INTEGER PRIMARY KEY,
  job          INTEGER NOT NULL REFERENCES jobs (id),
  amount_minor INTEGER NOT NULL CHECK (amount_minor BETWEEN 1 AND 100000000000),
  currency     TEXT NOT NULL,
  paid_on      TEXT NOT NULL,
  how          TEXT NOT NULL,
  at           INTEGER NOT NULL,
  bench        TEXT NOT NULL,
  corrects     INTEGER UNIQUE REFERENCES payments (id),
  withdrawn    INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX payments_job ON payments (job, id);

CREATE TABLE invoices (
  id          INTEGER PRIMARY KEY,
  number      TEXT NOT NULL,
  client      INTEGER NOT NULL REFERENCES clients (id),
  invoiced_on TEXT NOT NULL,
  currency    TEXT NOT NULL,
  reason      TEXT NOT NULL,
  at          INTEGER NOT NULL,
  bench       TEXT NOT NULL,
  corrects    INTEGER UNIQUE REFERENCES invoices (id),
  withdrawn   INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE UNIQUE INDEX invoices_number ON invoices (number) WHERE corrects IS NULL;
CREATE INDEX invoices_any_number ON invoices (number, id);

CREATE TABLE invoice_lines (
  id           INTEGER PRIMARY KEY,
  invoice      INTEGER NOT NULL REFERENCES invoices (id),
  job          INTEGER REFERENCES jobs (id),
  sort         TEXT NOT NULL CHECK (sort IN ('labour', 'part', 'work', 'fee', 'credit', 'tax', 'deposit')),
  what         TEXT NOT NULL,
  minutes      INTEGER NOT NULL CHECK (minutes >= 0),
  hour_minor   INTEGER NOT NULL CHECK (hour_minor >= 0),
  amount_minor INTEGER NOT NULL CHECK (abs(amount_minor) <= 1000000000000),
  charge       INTEGER REFERENCES charges (id),
  payment      INTEGER REFERENCES payments (id),
  at           INTEGER NOT NULL,
  bench        TEXT NOT NULL,
  corrects     INTEGER UNIQUE REFERENCES invoice_lines (id),
  withdrawn    INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX invoice_lines_invoice ON invoice_lines (invoice, id);
CREATE INDEX invoice_lines_job ON invoice_lines (job, id);
INSERT INTO "estimate_items" VALUES(1,41,'safety','new mains cord with earth','','the old one has two wires',3000,4500,'EUR',0);
INSERT INTO "estimate_answers" VALUES(1,1,'yes','2026-11-25','',1795597200000,'Desk',NULL,0,NULL);
INSERT INTO "rates" VALUES(1,'sockets',4200,0);
INSERT INTO "taxes" VALUES(1,'sales tax',20000,0);
INSERT INTO "charges" VALUES(1,41,'part','mains cord',850,'EUR',1,NULL,0);
INSERT INTO "payments" VALUES(1,41,5000,'EUR','2026-11-25','cash',1795597200000,'Desk',NULL,0);
INSERT INTO "invoices" VALUES(1,'2026-1',1,'2026-11-25','EUR','',1795597200000,'Desk',NULL,0);
INSERT INTO "invoice_lines" VALUES(1,1,41,'part','mains cord',0,0,850,1,NULL,1795597200000,'Desk',NULL,0);
CREATE TRIGGER estimate_items_last BEFORE DELETE ON estimate_items
  BEGIN SELECT RAISE (ABORT, 'estimate_items are never deleted: mark the row as gone'); END;
CREATE TRIGGER estimate_answers_stay BEFORE UPDATE ON estimate_answers
  WHEN old.blanked_at IS NOT NULL
    OR new.blanked_at IS NULL
    OR new.says <> ''
    OR new.id IS NOT old.id
    OR new.item IS NOT old.item
    OR new.answer IS NOT old.answer
    OR new.answered_on IS NOT old.answered_on
    OR new.at IS NOT old.at
    OR new.bench IS NOT old.bench
    OR new.corrects IS NOT old.corrects
    OR new.withdrawn IS NOT old.withdrawn
  BEGIN SELECT RAISE (ABORT, 'estimate_answers are never changed, only blanked: write a correction'); END;
CREATE TRIGGER estimate_answers_last BEFORE DELETE ON estimate_answers
  BEGIN SELECT RAISE (ABORT, 'estimate_answers are never deleted: write a correction'); END;
CREATE TRIGGER rates_last BEFORE DELETE ON rates
  BEGIN SELECT RAISE (ABORT, 'rates are never deleted: mark the row as gone'); END;
CREATE TRIGGER taxes_last BEFORE DELETE ON taxes
  BEGIN SELECT RAISE (ABORT, 'taxes are never deleted: mark the row as gone'); END;
CREATE TRIGGER charges_last BEFORE DELETE ON charges
  BEGIN SELECT RAISE (ABORT, 'charges are never deleted: mark the row as gone'); END;
CREATE TRIGGER payments_stay BEFORE UPDATE ON payments
  BEGIN SELECT RAISE (ABORT, 'payments are never changed: write a correction'); END;
CREATE TRIGGER payments_last BEFORE DELETE ON payments
  BEGIN SELECT RAISE (ABORT, 'payments are never deleted: write a correction'); END;
CREATE TRIGGER invoices_stay BEFORE UPDATE ON invoices
  BEGIN SELECT RAISE (ABORT, 'invoices are never changed: write a correction'); END;
CREATE TRIGGER invoices_last BEFORE DELETE ON invoices
  BEGIN SELECT RAISE (ABORT, 'invoices are never deleted: write a correction'); END;
CREATE TRIGGER invoice_lines_stay BEFORE UPDATE ON invoice_lines
  BEGIN SELECT RAISE (ABORT, 'invoice_lines are never changed: write a correction'); END;
CREATE TRIGGER invoice_lines_last BEFORE DELETE ON invoice_lines
  BEGIN SELECT RAISE (ABORT, 'invoice_lines are never deleted: write a correction'); END;
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('changes',1);
INSERT INTO "sqlite_sequence" VALUES('journal',1);
COMMIT;
PRAGMA user_version = 3;
