-- Layout 3: estimate and the owner's answers, rates, taxes, what is charged, what was paid, invoices.
-- Never edited once shipped.
--
-- Money is whole minor units of the currency beside it. An invoice is never a sum that is stored:
-- it is its lines, taxes and deposits among them, and what is to pay is their plain sum.

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

-- What an hour of a task costs, where it is not the shop's usual rate.
CREATE TABLE rates (
  id         INTEGER PRIMARY KEY,
  task       TEXT NOT NULL UNIQUE,
  hour_minor INTEGER NOT NULL CHECK (hour_minor BETWEEN 0 AND 100000000),
  gone       INTEGER NOT NULL DEFAULT 0
) STRICT;

-- A tax on top of what is taxed, in thousandths of a per cent.
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
-- A number is given once, also after the invoice was taken back.
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
