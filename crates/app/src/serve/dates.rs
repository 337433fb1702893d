//! Times and dates in words, in the bench's own time zone.

use jiff::tz::TimeZone;
use jiff::{Timestamp, ZonedDateTime, civil};
use shop::At;

/// A moment in the bench's time zone; a number that is no moment is 1970.
fn zoned(at: At) -> ZonedDateTime {
    Timestamp::from_millisecond(at.0)
        .unwrap_or(Timestamp::UNIX_EPOCH)
        .to_zoned_datetime(TimeZone::system())
}

/// `10:45`.
pub(crate) fn time(at: At) -> String {
    zoned(at).strftime("%H:%M").to_string()
}

/// `Tue 25 Nov, 10:45`.
pub(crate) fn day_and_time(at: At) -> String {
    zoned(at).strftime("%a %-d %b, %H:%M").to_string()
}

/// `today`, `yesterday`, `17 Nov`, or with the year when it is another one.
pub(crate) fn day(at: At, now: At) -> String {
    let (then, today) = (zoned(at).date(), zoned(now).date());
    day_of(then, today)
}

fn day_of(then: civil::Date, today: civil::Date) -> String {
    if then == today {
        return "today".to_owned();
    }
    if then.tomorrow().is_ok_and(|d| d == today) {
        return "yesterday".to_owned();
    }
    let form = if then.year() == today.year() {
        "%-d %b"
    } else {
        "%-d %b %Y"
    };
    then.strftime(form).to_string()
}

/// `27 November 2026`: what is printed is read in other years.
pub(crate) fn full(at: At) -> String {
    zoned(at).strftime("%-d %B %Y").to_string()
}

/// `2026-11-27`.
pub(crate) fn iso(at: At) -> String {
    zoned(at).date().to_string()
}

/// `10:42` on the same day, else `17 Nov 10:42`.
pub(crate) fn since(at: At, now: At) -> String {
    if zoned(at).date() == zoned(now).date() {
        time(at)
    } else {
        format!("{} {}", day(at, now), time(at))
    }
}

/// A date as typed into a date field (`2026-12-05`), as `Fri 5 Dec`; other text stays.
pub(crate) fn promised(text: &str, now: At) -> String {
    match text.parse::<civil::Date>() {
        Ok(date) => {
            let form = if date.year() == zoned(now).date().year() {
                "%a %-d %b"
            } else {
                "%a %-d %b %Y"
            };
            date.strftime(form).to_string()
        }
        Err(_) => text.to_owned(),
    }
}

/// The date so many days after a moment, as a date field has it (`2026-12-05`).
pub(crate) fn in_days(at: At, days: i64) -> String {
    zoned(At(at.0 + days * 24 * 3_600_000)).date().to_string()
}

/// The year now.
pub(crate) fn year(now: At) -> u16 {
    u16::try_from(zoned(now).date().year()).unwrap_or(1970)
}

/// `1:40` for an hour and forty minutes.
pub(crate) fn length(milliseconds: i64) -> String {
    let minutes = milliseconds.max(0) / 60_000;
    format!("{}:{:02}", minutes / 60, minutes % 60)
}

/// `12 s`, from a minute on `1 min 5 s`.
pub(crate) fn seconds(seconds: i64) -> String {
    match (seconds / 60, seconds % 60) {
        (0, s) => format!("{s} s"),
        (m, s) => format!("{m} min {s} s"),
    }
}

/// A time as a file's name can hold it (`2026-11-25-104500`).
pub(crate) fn for_a_name(at: At) -> String {
    zoned(at).strftime("%Y-%m-%d-%H%M%S").to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_in_words() {
        let date = |y, m, d| civil::date(y, m, d);
        let today = date(2026, 11, 25);
        assert_eq!(day_of(today, today), "today");
        assert_eq!(day_of(date(2026, 11, 24), today), "yesterday");
        assert_eq!(day_of(date(2026, 11, 17), today), "17 Nov");
        assert_eq!(day_of(date(2025, 12, 31), today), "31 Dec 2025");
        assert_eq!(promised("2026-12-05", At(1_795_597_200_000)), "Sat 5 Dec");
        assert_eq!(promised("when it is done", At(0)), "when it is done");
        assert_eq!(length(6_000_000), "1:40");
    }
}
