//! Money: whole minor units, never a fraction. Typed and shown in major units.

/// Digits of the minor unit, by ISO 4217 (from memory of its table, not seen): two for most
/// currencies, none for these. Currencies with three are not offered in the settings.
fn digits(currency: &str) -> usize {
    match currency {
        "JPY" | "KRW" | "ISK" | "CLP" | "VND" => 0,
        _ => 2,
    }
}

/// `380`, `380.50` or `380,50` in minor units of a currency.
pub(crate) fn parse(text: &str, currency: &str) -> Option<i64> {
    let digits = digits(currency);
    let text = text.trim().replace(',', ".");
    let (major, minor) = text.split_once('.').unwrap_or((&text, ""));
    let plain = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
    if major.is_empty() || !plain(major) || !plain(minor) || minor.len() > digits {
        return None;
    }
    format!("{major}{minor:0<digits$}").parse().ok()
}

/// `380` or `380.50`.
pub(crate) fn amount(minor: i64, currency: &str) -> String {
    let text = exact(minor, currency);
    text.strip_suffix(".00").unwrap_or(&text).to_owned()
}

/// `380.00`: with all digits of the minor unit, as in tables and files.
pub(crate) fn exact(minor: i64, currency: &str) -> String {
    let digits = digits(currency);
    let sign = if minor < 0 { "-" } else { "" };
    let text = format!("{:0>1$}", minor.unsigned_abs(), digits + 1);
    let (major, rest) = text.split_at(text.len() - digits);
    if digits == 0 {
        format!("{sign}{major}")
    } else {
        format!("{sign}{major}.{rest}")
    }
}

/// With the currency's sign in front where it has one.
pub(crate) fn shown(minor: i64, currency: &str) -> String {
    signed(&amount(minor, currency), currency)
}

/// The same with all digits.
pub(crate) fn shown_exact(minor: i64, currency: &str) -> String {
    signed(&exact(minor, currency), currency)
}

fn signed(amount: &str, currency: &str) -> String {
    let sign = match currency {
        "EUR" => "€",
        "GBP" => "£",
        "USD" => "$",
        other => return format!("{} {other}", amount.replace('-', "\u{2212}")),
    };
    match amount.strip_prefix('-') {
        Some(rest) => format!("\u{2212}{sign} {rest}"),
        None => format!("{sign} {amount}"),
    }
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
            assert_eq!(parse(text, "EUR"), Some(minor));
            assert_eq!(parse(&exact(minor, "EUR"), "EUR"), Some(minor));
        }
        for bad in ["", "-3", "3.141", "1e3", "a", ".5", "99999999999999999999"] {
            assert_eq!(parse(bad, "EUR"), None, "{bad}");
        }
        assert_eq!(parse("380", "JPY"), Some(380));
        assert_eq!(parse("380.5", "JPY"), None);
        assert_eq!(shown(38_000, "EUR"), "€ 380");
        assert_eq!(shown(38_050, "SEK"), "380.50 SEK");
        assert_eq!(shown(380, "JPY"), "380 JPY");
        assert_eq!(shown(-5, "EUR"), "\u{2212}€ 0.05");
        assert_eq!(exact(-38_005, "EUR"), "-380.05");
    }
}
