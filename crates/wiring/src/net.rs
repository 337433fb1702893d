//! What is joined to what: sets of points that grow as wires are found.

use crate::diagnostic::Place;

/// Index of an element: a bare point, a terminal, or a nameless junction.
pub(crate) type Elem = usize;

/// What an element is.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Joins {
    /// A bare point, or the common end of a can.
    Bare(String),
    /// Part and terminal.
    Terminal(usize, usize),
    /// Between two parts of a walk.
    Junction,
}

#[derive(Debug, Clone)]
struct Entry {
    joins: Joins,
    parent: Elem,
    size: usize,
    /// Of a root: an element of the set that was named in the text.
    named: Option<Elem>,
    /// Of a root: some walk that is not assumed reaches it.
    seen: bool,
    /// Of a root: some walk reaches it.
    touched: bool,
    /// Of a root: `unused "..."`.
    unused: Option<String>,
    /// How often the text names it.
    count: usize,
    place: Place,
}

/// All elements.
#[derive(Debug, Default)]
pub(crate) struct Net {
    list: Vec<Entry>,
}

impl Net {
    /// Adds an element on its own.
    pub(crate) fn add(&mut self, joins: Joins, place: Place) -> Elem {
        let elem = self.list.len();
        self.list.push(Entry {
            joins,
            parent: elem,
            size: 1,
            named: None,
            seen: false,
            touched: false,
            unused: None,
            count: 0,
            place,
        });
        elem
    }

    /// The element that stands for the whole set.
    pub(crate) fn root(&self, elem: Elem) -> Elem {
        let mut at = elem;
        while let Some(entry) = self.list.get(at) {
            if entry.parent == at {
                return at;
            }
            at = entry.parent;
        }
        elem
    }

    /// Are they joined?
    pub(crate) fn same(&self, a: Elem, b: Elem) -> bool {
        self.root(a) == self.root(b)
    }

    /// Joins two sets.
    pub(crate) fn join(&mut self, a: Elem, b: Elem) {
        let (a, b) = (self.root(a), self.root(b));
        if a == b {
            return;
        }
        let size = |net: &Self, e: Elem| net.list.get(e).map_or(0, |x| x.size);
        let (large, small) = if size(self, a) >= size(self, b) {
            (a, b)
        } else {
            (b, a)
        };
        let Some(entry) = self.list.get_mut(small) else {
            return;
        };
        entry.parent = large;
        let (n, named, seen, touched) = (entry.size, entry.named, entry.seen, entry.touched);
        let unused = entry.unused.take();
        if let Some(root) = self.list.get_mut(large) {
            root.size += n;
            root.named = match (root.named, named) {
                (Some(x), Some(y)) => Some(x.min(y)),
                (x, y) => x.or(y),
            };
            root.seen |= seen;
            root.touched |= touched;
            root.unused = root.unused.take().or(unused);
        }
    }

    /// A walk passes here; `named` when the text names the element itself.
    pub(crate) fn touch(&mut self, elem: Elem, assumed: bool, named: bool) {
        let root = self.root(elem);
        if let Some(entry) = self.list.get_mut(root) {
            entry.touched = true;
            entry.seen |= !assumed;
            if named {
                entry.named = Some(entry.named.map_or(elem, |n| n.min(elem)));
            }
        }
        if named && let Some(entry) = self.list.get_mut(elem) {
            entry.count += 1;
        }
    }

    /// Notes that the set ends in a lead put away.
    pub(crate) fn put_away(&mut self, elem: Elem, how: &str) {
        let root = self.root(elem);
        if let Some(entry) = self.list.get_mut(root) {
            entry.unused = Some(how.to_owned());
        }
    }

    /// Has any element of the set a name in the text?
    pub(crate) fn is_named(&self, elem: Elem) -> bool {
        self.named(elem).is_some()
    }

    /// The first named element of the set.
    pub(crate) fn named(&self, elem: Elem) -> Option<Elem> {
        self.list.get(self.root(elem)).and_then(|e| e.named)
    }

    /// Does any walk reach the set?
    pub(crate) fn is_touched(&self, elem: Elem) -> bool {
        self.list.get(self.root(elem)).is_some_and(|e| e.touched)
    }

    /// Does a walk that is not assumed reach the set?
    pub(crate) fn is_seen(&self, elem: Elem) -> bool {
        self.list.get(self.root(elem)).is_some_and(|e| e.seen)
    }

    /// How the lead is put away.
    pub(crate) fn unused(&self, elem: Elem) -> Option<String> {
        self.list
            .get(self.root(elem))
            .and_then(|e| e.unused.clone())
    }

    /// What the element is.
    pub(crate) fn joins(&self, elem: Elem) -> Option<&Joins> {
        self.list.get(elem).map(|e| &e.joins)
    }

    /// Where it was first named.
    pub(crate) fn place(&self, elem: Elem) -> Place {
        self.list.get(elem).map(|e| e.place).unwrap_or_default()
    }

    /// How often the text names it.
    pub(crate) fn count(&self, elem: Elem) -> usize {
        self.list.get(elem).map_or(0, |e| e.count)
    }

    /// Number of elements.
    pub(crate) fn len(&self) -> usize {
        self.list.len()
    }
}
