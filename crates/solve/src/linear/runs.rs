//! Rows of a few terms each, laid out so that a processor goes through them without stopping.

use super::Place;

/// So many rows of one length are worth a run of their own.
const WORTH: usize = 3;

/// Rows one after another.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Run {
    rows: usize,
    /// Terms of each; nought where each has its own length.
    each: usize,
}

/// Rows with their terms, in runs of one length, and of mixed lengths in between. A row comes after the rows that it asks for.
///
/// Where a row's end is known beforehand, nothing is spent on looking for it, and rows that do not wait for one another are
/// found side by side.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Runs<T> {
    runs: Vec<Run>,
    rows: Vec<Place>,
    terms: Vec<T>,
    /// Terms of each row in the mixed runs.
    lengths: Vec<usize>,
}

impl<T> Runs<T> {
    /// `rows` with their terms, of which each asks for the row of the number that `asks` tells, if there is one among these.
    /// Rows without terms are left out; rows that ask for each other come as they are.
    pub(crate) fn new(mut rows: Vec<(Place, Vec<T>)>, asks: impl Fn(&T) -> Option<Place>) -> Self {
        rows.retain(|(_, terms)| !terms.is_empty());
        let mut made = Self::default();
        while !rows.is_empty() {
            let waiting: Vec<Place> = rows.iter().map(|(row, _)| *row).collect();
            let ready = |(_, terms): &(Place, Vec<T>)| {
                let mut asked = terms.iter().filter_map(&asks);
                !asked.any(|row| waiting.contains(&row))
            };
            let lengths: Vec<usize> = rows
                .iter()
                .filter(|row| ready(row))
                .map(|(_, terms)| terms.len())
                .collect();
            let often = |length: usize| lengths.iter().filter(|&&l| l == length).count();
            // going on with the same length costs nothing; otherwise what is ready most often, the shortest first
            let same = made.runs.last().map(|run| run.each);
            let best = lengths
                .iter()
                .copied()
                .max_by_key(|&length| (same == Some(length), often(length), usize::MAX - length));
            let each = best.unwrap_or_else(|| rows[0].1.len());
            let all = best.is_none();
            let (now, later): (Vec<_>, Vec<_>) = rows
                .into_iter()
                .partition(|row| all || (row.1.len() == each && ready(row)));
            rows = later;
            for (row, terms) in now {
                let each = terms.len();
                match made.runs.last_mut() {
                    Some(run) if run.each == each => run.rows += 1,
                    _ => made.runs.push(Run { rows: 1, each }),
                }
                made.rows.push(row);
                made.terms.extend(terms);
            }
        }
        made.mix();
        made
    }

    /// Makes one run of those that are not worth their own.
    fn mix(&mut self) {
        for run in std::mem::take(&mut self.runs) {
            if run.rows >= WORTH {
                self.runs.push(run);
                continue;
            }
            let lengths = std::iter::repeat_n(run.each, run.rows);
            self.lengths.extend(lengths);
            match self.runs.last_mut() {
                Some(last) if last.each == 0 => last.rows += run.rows,
                _ => self.runs.push(Run { each: 0, ..run }),
            }
        }
    }

    /// Shows each row with its terms and what of `along` stands beside them.
    #[inline(always)]
    pub(crate) fn each<B>(&self, along: &[B], mut show: impl FnMut(Place, &[T], &[B])) {
        let (mut rows, mut terms, mut along) = (&self.rows[..], &self.terms[..], along);
        let mut lengths = &self.lengths[..];
        for run in &self.runs {
            let (these, rows_later) = rows.split_at(run.rows);
            rows = rows_later;
            if run.each == 0 {
                let (of_these, lengths_later) = lengths.split_at(run.rows);
                lengths = lengths_later;
                for (row, length) in these.iter().zip(of_these) {
                    let (now, terms_later) = terms.split_at(*length);
                    let (along_now, along_later) = along.split_at(*length);
                    (terms, along) = (terms_later, along_later);
                    show(*row, now, along_now);
                }
                continue;
            }
            let (of_these, terms_later) = terms.split_at(run.rows * run.each);
            let (along_these, along_later) = along.split_at(run.rows * run.each);
            (terms, along) = (terms_later, along_later);
            let show = &mut show;
            match run.each {
                1 => of_length::<1, T, B>(these, of_these, along_these, show),
                2 => of_length::<2, T, B>(these, of_these, along_these, show),
                3 => of_length::<3, T, B>(these, of_these, along_these, show),
                4 => of_length::<4, T, B>(these, of_these, along_these, show),
                each => {
                    let terms = of_these
                        .chunks_exact(each)
                        .zip(along_these.chunks_exact(each));
                    for (row, (terms, along)) in these.iter().zip(terms) {
                        show(*row, terms, along);
                    }
                }
            }
        }
    }
}

impl<T> Default for Runs<T> {
    fn default() -> Self {
        Self {
            runs: Vec::new(),
            rows: Vec::new(),
            terms: Vec::new(),
            lengths: Vec::new(),
        }
    }
}

impl<A, B> Runs<(A, B)> {
    /// The rows with half of each term, and the other halves in the order in which they are gone through.
    pub(crate) fn parted(self) -> (Runs<A>, Vec<B>) {
        let (terms, halves) = self.terms.into_iter().unzip();
        let rows = Runs {
            runs: self.runs,
            rows: self.rows,
            terms,
            lengths: self.lengths,
        };
        (rows, halves)
    }
}

#[inline(always)]
fn of_length<const EACH: usize, T, B>(
    rows: &[Place],
    terms: &[T],
    along: &[B],
    show: &mut impl FnMut(Place, &[T], &[B]),
) {
    let terms = terms
        .as_chunks::<EACH>()
        .0
        .iter()
        .zip(along.as_chunks::<EACH>().0);
    for (row, (terms, along)) in rows.iter().zip(terms) {
        show(*row, terms, along);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every row comes once, with its own terms in their order, after the rows that it asks for.
    #[test]
    fn rows_come_after_what_they_ask_for() {
        // row, and the rows it asks for; 90 and above are no rows
        let rows: Vec<(u32, Vec<u32>)> = vec![
            (0, vec![1, 90]),
            (1, vec![91]),
            (2, vec![]),
            (3, vec![0, 1, 92]),
            (4, vec![93]),
            (5, vec![4, 3]),
            (6, vec![90, 91, 92, 93, 94, 5]),
            (7, vec![95]),
        ];
        let place = |at: u32| Place::of(at as usize).unwrap();
        let placed = rows.iter();
        let placed = placed.map(|(row, terms)| {
            let terms = terms.iter().map(|&from| (place(from), from));
            (place(*row), terms.collect())
        });
        let laid_out = Runs::new(placed.collect(), |&(from, _)| Some(from));
        let (laid_out, halves) = laid_out.parted();
        let mut seen: Vec<(usize, Vec<u32>)> = Vec::new();
        laid_out.each(&halves, |row, terms, halves| {
            assert!(
                terms
                    .iter()
                    .zip(halves)
                    .all(|(term, &half)| *term == place(half))
            );
            seen.push((row.first() / 2, halves.to_vec()));
        });
        for (at, (row, terms)) in seen.iter().enumerate() {
            for asked in terms.iter().filter(|asked| **asked < 90) {
                assert!(
                    seen[..at].iter().any(|(row, _)| row == &(*asked as usize)),
                    "{row} before {asked}"
                );
            }
        }
        seen.sort();
        let wanted = rows.into_iter().filter(|(_, terms)| !terms.is_empty());
        let wanted: Vec<(usize, Vec<u32>)> =
            wanted.map(|(row, terms)| (row as usize, terms)).collect();
        assert_eq!(seen, wanted);
        // rows of one length are gone through together where there are enough of them
        assert_eq!(laid_out.runs[0], Run { rows: 3, each: 1 });
        assert!(laid_out.runs[1..].iter().all(|run| run.each == 0));
    }
}
