//! Rows of a few terms each, laid out so that a processor goes through them without stopping.

/// Rows of one length, one after another.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Run {
    rows: usize,
    /// Terms of each.
    each: usize,
}

/// Rows with their terms, in runs of one length. A row comes after the rows that it asks for.
///
/// Where a row's end is known beforehand, nothing is spent on looking for it, and rows that do not wait for one another are
/// found side by side.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Runs<T> {
    runs: Vec<Run>,
    rows: Vec<u32>,
    terms: Vec<T>,
}

impl<T> Runs<T> {
    /// `rows` with their terms, of which each asks for the row of the number that `asks` tells, if there is one among these.
    /// Rows without terms are left out; rows that ask for each other come as they are.
    pub(crate) fn new(mut rows: Vec<(u32, Vec<T>)>, asks: impl Fn(&T) -> Option<u32>) -> Self {
        rows.retain(|(_, terms)| !terms.is_empty());
        let mut made = Self {
            runs: Vec::new(),
            rows: Vec::new(),
            terms: Vec::new(),
        };
        while !rows.is_empty() {
            let waiting: Vec<u32> = rows.iter().map(|(row, _)| *row).collect();
            let ready = |(_, terms): &(u32, Vec<T>)| {
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
        made
    }

    /// The terms, in the order in which they are gone through.
    pub(crate) fn terms_mut(&mut self) -> &mut [T] {
        &mut self.terms
    }

    /// Shows each row with its terms.
    #[inline(always)]
    pub(crate) fn each(&self, mut show: impl FnMut(usize, &[T])) {
        let (mut rows, mut terms) = (&self.rows[..], &self.terms[..]);
        for run in &self.runs {
            let (these, later) = rows.split_at(run.rows);
            let (of_these, terms_later) = terms.split_at(run.rows * run.each);
            (rows, terms) = (later, terms_later);
            match run.each {
                1 => of_length::<1, T>(these, of_these, &mut show),
                2 => of_length::<2, T>(these, of_these, &mut show),
                3 => of_length::<3, T>(these, of_these, &mut show),
                4 => of_length::<4, T>(these, of_these, &mut show),
                each => {
                    for (row, terms) in these.iter().zip(of_these.chunks_exact(each)) {
                        show(*row as usize, terms);
                    }
                }
            }
        }
    }
}

#[inline(always)]
fn of_length<const EACH: usize, T>(rows: &[u32], terms: &[T], show: &mut impl FnMut(usize, &[T])) {
    for (row, terms) in rows.iter().zip(terms.as_chunks::<EACH>().0) {
        show(*row as usize, terms);
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
        ];
        let laid_out = Runs::new(rows.clone(), |&from| Some(from));
        let mut seen: Vec<(usize, Vec<u32>)> = Vec::new();
        laid_out.each(|row, terms| seen.push((row, terms.to_vec())));
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
        // rows of one length are gone through together
        assert_eq!(laid_out.runs[0], Run { rows: 2, each: 1 });
    }
}
