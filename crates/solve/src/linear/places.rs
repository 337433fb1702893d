//! Pairs of numbers that are found by small ones: phasors, or what remembers.

/// Numbers that there is room for: as many as a [`Place`] can tell, so that a processor need not ask whether one is inside.
pub(super) const ROOM: usize = u16::MAX as usize + 2;

/// Where a pair stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Place(u16);

impl Place {
    /// The place of pair number `at`; none beyond the last that there is room for.
    pub(crate) fn of(at: usize) -> Option<Self> {
        u16::try_from(at.checked_mul(2)?).ok().map(Self)
    }

    /// The number of the pair.
    pub(crate) fn number(self) -> usize {
        self.first() / 2
    }

    #[inline(always)]
    pub(super) fn first(self) -> usize {
        usize::from(self.0)
    }
}

/// Pairs of numbers, each in its place.
///
/// Once there is room, there is all of it, whatever the count: no place is outside.
#[derive(Default)]
pub(crate) struct Placed {
    flat: Vec<f64>,
    count: usize,
}

/// Room for pairs, of which as many are used as there are.
pub(crate) type Flat = [f64; ROOM];

/// The pair in a place.
#[inline(always)]
pub(crate) fn at(flat: &Flat, place: Place) -> [f64; 2] {
    let first = place.first();
    [flat[first], flat[first + 1]]
}

/// Adds to the pair in a place.
#[inline(always)]
pub(crate) fn add(flat: &mut Flat, place: Place, [re, im]: [f64; 2]) {
    let first = place.first();
    flat[first] += re;
    flat[first + 1] += im;
}

impl Placed {
    /// `count` pairs of noughts.
    #[cfg(test)]
    pub(crate) fn noughts(count: usize) -> Self {
        let mut new = Self::later(count);
        new.make_room();
        new
    }

    /// `count` pairs, none of which is there before [`Placed::make_room`]: not everything that may be asked for is.
    pub(crate) fn later(count: usize) -> Self {
        Self {
            flat: Vec::new(),
            count,
        }
    }

    /// Makes room, unless there is.
    pub(crate) fn make_room(&mut self) {
        if self.flat.is_empty() {
            self.flat = vec![0.0; ROOM];
        }
    }

    /// All room, if it was made.
    #[inline(always)]
    pub(crate) fn flat(&self) -> Option<&Flat> {
        self.flat.first_chunk()
    }

    /// The same, to be changed.
    #[inline(always)]
    pub(crate) fn flat_mut(&mut self) -> Option<&mut Flat> {
        self.flat.first_chunk_mut()
    }

    /// The pairs, by number.
    #[inline(always)]
    pub(crate) fn pairs(&self) -> &[[f64; 2]] {
        self.flat.as_chunks().0.get(..self.count).unwrap_or(&[])
    }

    /// The same, to be changed.
    #[inline(always)]
    pub(crate) fn pairs_mut(&mut self) -> &mut [[f64; 2]] {
        let all = self.flat.as_chunks_mut().0;
        all.get_mut(..self.count).unwrap_or(&mut [])
    }
}

impl Clone for Placed {
    fn clone(&self) -> Self {
        let mut new = Self::later(self.count);
        if !self.flat.is_empty() {
            new.make_room();
            new.pairs_mut().copy_from_slice(self.pairs());
        }
        new
    }
}

impl std::fmt::Debug for Placed {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_list().entries(self.pairs()).finish()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is beyond the last place is told, and the last is inside.
    #[test]
    fn there_is_a_last_place() {
        let last = usize::from(u16::MAX / 2);
        let place = Place::of(last).unwrap();
        assert_eq!(Place::of(last + 1), None);
        assert_eq!(Place::of(usize::MAX), None);
        let mut placed = Placed::noughts(last + 1);
        add(placed.flat_mut().unwrap(), place, [1.0, 2.0]);
        assert_eq!(placed.clone().pairs()[last], [1.0, 2.0]);
        assert_eq!(at(placed.flat().unwrap(), place), [1.0, 2.0]);
        let mut later = Placed::later(3);
        assert!(later.flat().is_none() && later.pairs().is_empty());
        assert!(later.clone().flat().is_none());
        later.make_room();
        assert_eq!(later.pairs(), [[0.0; 2]; 3]);
    }
}
