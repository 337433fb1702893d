//! Money: whole minor units, never a fraction. Typed and shown in major units.

/// `380`, `380.50` or `380,50` in minor units.
pub(crate) fn parse(text: &str) -> Option<i64> {
    let text = text.trim().replace(',', ".");
    let (major, minor) = text.split_once('.').unwrap_or((&text, ""));
    let digits = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
    if major.is_empty() || !digits(major) || !digits(minor) || minor.len() > 2 {
        return None;
    }
    let cents: i64 = format!("{minor:0<2}").parse().ok()?;
    major
        .parse::<i64>()
        .ok()?
        .checked_mul(100)?
        .checked_add(cents)
}

/// `380` or `380.50`.
pub(crate) fn amount(minor: i64) -> String {
    if minor % 100 == 0 {
        format!("{}", minor / 100)
    } else {
        format!("{}.{:02}", minor / 100, minor.rem_euclid(100))
    }
}

/// With the currency's sign in front where it has one.
pub(crate) fn shown(minor: i64, currency: &str) -> String {
    let sign = match currency {
        "EUR" => "€ ",
        "GBP" => "£ ",
        "USD" => "$ ",
        other => return format!("{} {other}", amount(minor)),
    };
    format!("{sign}{}", amount(minor))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn amounts_round_trip() {
        for (text, minor) in [
            ("380", 38_000),
            ("380.5", 38_050),
            ("380,05", 38_005),
            ("0.01", 1),
        ] {
            assert_eq!(parse(text), Some(minor));
        }
        for bad in ["", "-3", "3.141", "1e3", "a", ".5", "99999999999999999999"] {
            assert_eq!(parse(bad), None, "{bad}");
        }
        assert_eq!(shown(38_000, "EUR"), "€ 380");
        assert_eq!(shown(38_050, "SEK"), "380.50 SEK");
    }
}
