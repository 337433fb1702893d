//! Terms of the equations' rows, collected before the pattern of the matrix is known.

use super::stores::Sort;
use crate::netlist::Transformer;

/// A term of a row: row, plus, minus (0: none), coefficient.
pub(super) type Term = (usize, usize, usize, f64);

/// The terms of all rows, and which entries of the matrix are used.
#[derive(Default)]
pub(super) struct Build {
    pub(super) terms: Vec<Term>,
    pub(super) entries: Vec<(usize, usize)>,
    pub(super) stores: Vec<(usize, Placed)>,
}

/// A store before its stamps are known.
pub(super) struct Placed {
    pub(super) plus: usize,
    pub(super) minus: usize,
    pub(super) core: usize,
    pub(super) turns: f64,
    pub(super) sort: Sort,
}

impl Build {
    pub(super) fn term(&mut self, row: usize, plus: usize, minus: usize, value: f64) {
        if row > 0 {
            self.terms.push((row, plus, minus, value));
            self.mesh(&[row], &[plus, minus]);
        }
    }

    pub(super) fn mesh(&mut self, rows: &[usize], columns: &[usize]) {
        for row in rows.iter().filter_map(|row| row.checked_sub(1)) {
            for column in columns.iter().filter_map(|column| column.checked_sub(1)) {
                self.entries.push((row, column));
            }
        }
    }

    pub(super) fn siemens(&mut self, a: usize, b: usize, siemens: f64) {
        if a != b {
            self.term(a, a, b, siemens);
            self.term(b, b, a, siemens);
        }
    }

    pub(super) fn store(&mut self, element: usize, placed: Placed) {
        let all = [placed.plus, placed.minus, placed.core];
        self.mesh(&all, &all);
        self.stores.push((element, placed));
    }

    /// A winding without leakage.
    fn plain_winding(&mut self, a: usize, b: usize, core: usize, turns: f64, siemens: f64) {
        self.siemens(a, b, siemens);
        self.term(a, core, 0, -turns * siemens);
        self.term(b, core, 0, turns * siemens);
        self.term(core, a, b, -turns * siemens);
        self.term(core, core, 0, turns * turns * siemens);
    }

    pub(super) fn transformer(&mut self, element: usize, transformer: &Transformer, core: usize) {
        let iron = transformer.ohms_per_turn2;
        // a whisper keeps a core without windings solvable
        let loss = if iron > 0.0 { 1.0 / iron } else { 0.0 };
        self.term(core, core, 0, loss + 1e-15);
        let henries = transformer.henries_per_turn2;
        if henries > 0.0 && henries.is_finite() {
            let sort = Sort::Coil { henries, ohms: 0.0 };
            self.store(
                element,
                Placed {
                    plus: core,
                    minus: 0,
                    core: 0,
                    turns: 0.0,
                    sort,
                },
            );
        }
        for winding in &transformer.windings {
            let (a, b, turns) = (winding.a, winding.b, winding.turns);
            if winding.leakage > 0.0 {
                let sort = Sort::Coil {
                    henries: winding.leakage,
                    ohms: winding.ohms,
                };
                self.store(
                    element,
                    Placed {
                        plus: a,
                        minus: b,
                        core,
                        turns,
                        sort,
                    },
                );
            } else {
                self.plain_winding(a, b, core, turns, 1.0 / winding.ohms);
            }
        }
    }
}
