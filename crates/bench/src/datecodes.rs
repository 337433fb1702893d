//! Date codes on old parts, read into candidate years.
//!
//! The source-date code of the EIA: two to four digits of a maker's number, one or two digits of
//! the year, two of the week. One digit of the year leaves the decade open; a week above 53
//! means the digits were split wrongly. (A public page, seen second-hand, not verified in the
//! original.) Makers are not named here; the number is given back as it stands.
//!
//! The latest date among parts that were never touched is the earliest at which the amplifier can
//! have been finished; a single later part is a replacement (common practice, no source).

use serde::Serialize;

/// No part with such a code is taken to be older: the code came into use about then (from
/// memory, not seen).
const EARLIEST: u16 = 1935;

/// Untouched parts of one amplifier were made within so many years of each other (common
/// practice, no source: stock lay for months, seldom for years).
const SPREAD_YEARS: u16 = 3;

/// One way to read a code.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Split {
    /// The maker's number.
    pub maker: String,
    /// Candidate years, the earliest first.
    pub years: Vec<u16>,
    /// Week of the year, 1 to 53.
    pub week: u8,
}

/// When an amplifier can have been finished at the earliest, by one reading of its codes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Window {
    /// Year of the latest part.
    pub year: u16,
    /// Its week.
    pub week: u8,
    /// Codes (by their place in the list given) that do not fit with the others.
    pub odd: Vec<usize>,
}

/// Every way to read a code. Digits may be grouped by spaces, dashes, dots or slashes; a group
/// boundary then is where two of the three numbers meet. `this_year` bounds the candidates.
///
/// Empty where the text is no such code.
#[must_use]
pub fn splits(code: &str, this_year: u16) -> Vec<Split> {
    let mut digits = String::new();
    let mut boundaries: Vec<usize> = Vec::new();
    for c in code.trim().chars() {
        match c {
            '0'..='9' => digits.push(c),
            ' ' | '-' | '.' | '/' | '\u{2013}' => {
                if boundaries.last() != Some(&digits.len()) && !digits.is_empty() {
                    boundaries.push(digits.len());
                }
            }
            _ => return Vec::new(),
        }
    }
    let mut found: Vec<Split> = Vec::new();
    for year_digits in [2, 1] {
        let Some(maker_digits) = digits.len().checked_sub(year_digits + 2) else {
            continue;
        };
        if !(2..=4).contains(&maker_digits) {
            continue;
        }
        let meets = [maker_digits, maker_digits + year_digits];
        if !boundaries.iter().all(|b| meets.contains(b)) {
            continue;
        }
        let (maker, rest) = digits.split_at(maker_digits);
        let (year, week) = rest.split_at(year_digits);
        let week: u8 = week.parse().unwrap_or(0);
        if !(1..=53).contains(&week) {
            continue;
        }
        let ending: u16 = year.parse().unwrap_or(0);
        let step = if year_digits == 2 { 100 } else { 10 };
        let years: Vec<u16> = (EARLIEST..=this_year)
            .filter(|y| y % step == ending)
            .collect();
        if !years.is_empty() {
            found.push(Split {
                maker: maker.to_owned(),
                years,
                week,
            });
        }
    }
    found
}

/// When the amplifier can have been finished at the earliest, for each decade that the codes of
/// its untouched parts leave open, the earliest first. Codes that are none are left out.
#[must_use]
pub fn windows(untouched: &[&str], this_year: u16) -> Vec<Window> {
    let dates: Vec<(usize, Vec<(u16, u8)>)> = untouched
        .iter()
        .enumerate()
        .map(|(i, code)| {
            let dates = splits(code, this_year)
                .into_iter()
                .flat_map(|s| s.years.into_iter().map(move |y| (y, s.week)))
                .collect();
            (i, dates)
        })
        .filter(|(_, dates): &(usize, Vec<(u16, u8)>)| !dates.is_empty())
        .collect();
    let mut all: Vec<Window> = Vec::new();
    for (_, own) in &dates {
        for &(year, week) in own {
            let fits = |other: &[(u16, u8)]| {
                other
                    .iter()
                    .any(|&(y, w)| (y, w) <= (year, week) && y + SPREAD_YEARS >= year)
            };
            let odd: Vec<usize> = dates
                .iter()
                .filter(|(_, d)| !fits(d))
                .map(|(i, _)| *i)
                .collect();
            let window = Window { year, week, odd };
            if !all.contains(&window) {
                all.push(window);
            }
        }
    }
    // as few odd ones as can be
    let least = all.iter().map(|w| w.odd.len()).min().unwrap_or(0);
    all.retain(|w| w.odd.len() == least);
    all.sort_by_key(|w| (w.year, w.week));
    // of two readings of one decade the earlier one claims less
    all.dedup_by(|later, earlier| later.year <= earlier.year + SPREAD_YEARS);
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_digits_of_the_year_leave_one_reading() {
        let split = splits("123 6114", 2026);
        assert_eq!(
            split,
            [Split {
                maker: "123".into(),
                years: vec![1961],
                week: 14
            }]
        );
        assert_eq!(splits("123-61-14", 2026), split);
        assert_eq!(splits("1236114", 2026)[0], split[0]);
    }

    #[test]
    fn one_digit_leaves_the_decade_open() {
        let split = splits("123 107", 2026);
        assert_eq!(split.len(), 1);
        assert_eq!(split[0].week, 7);
        assert_eq!(
            split[0].years,
            [1941, 1951, 1961, 1971, 1981, 1991, 2001, 2011, 2021]
        );
    }

    #[test]
    fn an_impossible_week_says_that_the_split_is_wrong() {
        // 123-61-14 reads, 1236-1-14 reads as well, 12-36-114 is no split at all
        let both = splits("1236114", 2026);
        assert_eq!(both.len(), 2);
        assert_eq!((both[1].maker.as_str(), both[1].week), ("1236", 14));
        assert!(splits("123 6154", 2026).is_empty());
        assert!(splits("123 6100", 2026).is_empty());
        for none in ["", "12", "ABC", "12345678901", "1-2-3", "Ω61"] {
            assert!(splits(none, 2026).is_empty(), "{none}");
        }
    }

    /// A choke of week 07 and an output transformer of week 44 of years that end in 1 and 0: the
    /// amplifier was finished in 1951, 1961, 1971 ... week 07 or later.
    #[test]
    fn the_latest_untouched_part_is_the_earliest_end() {
        let found = windows(&["111 107", "111 044"], 1975);
        let years: Vec<(u16, u8)> = found.iter().map(|w| (w.year, w.week)).collect();
        assert_eq!(years, [(1941, 7), (1951, 7), (1961, 7), (1971, 7)]);
        assert!(found.iter().all(|w| w.odd.is_empty()));
    }

    #[test]
    fn a_part_that_does_not_fit_is_named() {
        let found = windows(&["123 6114", "123 6109", "456 7823"], 2026);
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].year, found[0].week), (1961, 14));
        assert_eq!(found[0].odd, [2]);
        assert!(windows(&[], 2026).is_empty());
    }
}
