-- Layout 2: vendors, what jobs need, orders and what came of them, stock. Never edited once shipped.
--
-- Quantities are whole numbers of the unit; a length is counted in centimetres. The price of a line
-- is for the whole line, in minor units, so that nothing is ever divided. What came is never stored
-- as a sum: it follows from the deliveries that stand.

CREATE TABLE vendors (
  id      INTEGER PRIMARY KEY,
  name    TEXT NOT NULL,
  contact TEXT NOT NULL DEFAULT '',
  note    TEXT NOT NULL DEFAULT '',
  gone    INTEGER NOT NULL DEFAULT 0
) STRICT;

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
CREATE INDEX needs_job ON needs (job);

CREATE TABLE orders (
  id         INTEGER PRIMARY KEY,
  vendor     INTEGER NOT NULL REFERENCES vendors (id),
  reference  TEXT NOT NULL DEFAULT '',
  ordered_on TEXT NOT NULL,
  currency   TEXT NOT NULL,
  note       TEXT NOT NULL DEFAULT '',
  gone       INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX orders_vendor ON orders (vendor);

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
CREATE INDEX order_lines_order ON order_lines (of_order);
CREATE INDEX order_lines_need ON order_lines (need);

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
CREATE INDEX deliveries_line ON deliveries (line, id);

CREATE TABLE stock_items (
  id    INTEGER PRIMARY KEY,
  what  TEXT NOT NULL,
  spec  TEXT NOT NULL DEFAULT '',
  unit  TEXT NOT NULL CHECK (unit IN ('piece', 'pair', 'set', 'length')),
  place TEXT NOT NULL DEFAULT '',
  gone  INTEGER NOT NULL DEFAULT 0
) STRICT;

-- Positive: put in. Negative: taken out, for a need where one is named.
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

-- Checked after the row is in, so that a correction is weighed with the row it corrects left out.
CREATE TRIGGER stock_moves_cover AFTER INSERT ON stock_moves
  WHEN (SELECT coalesce(sum(m.quantity), 0) FROM stock_moves m
        WHERE m.item = new.item AND m.withdrawn = 0
          AND NOT EXISTS (SELECT 1 FROM stock_moves n WHERE n.corrects = m.id)) < 0
  BEGIN SELECT RAISE (ABORT, 'stock never goes below nothing: put in what is there first'); END;
