//! The base seen from below, as text.
//!
//! Pins count clockwise from the key (octal) or the gap (noval, miniature), both drawn at the
//! bottom, as on the socket in front of the soldering iron.

use crate::table::count;
use wiring::sheet::{Base, Pin, Sheet};

/// The picture, one pin a line on each side.
pub(crate) fn from_below(sheet: &Sheet) -> String {
    let pins = usize::from(sheet.base.pins());
    let sides = pins / 2;
    let label = |number: usize| {
        sheet
            .pins
            .iter()
            .find(|p| usize::from(p.number) == number)
            .map_or_else(|| "(none)".to_owned(), words)
    };
    let left: Vec<String> = (1..=sides).map(label).collect();
    let width = left.iter().map(|l| count(l)).max().unwrap_or(0).max(8);
    let indent = |text: &str| format!("{}{text}", " ".repeat(width.saturating_sub(count(text))));
    let mut out = String::new();
    // An odd pin stands alone at the top.
    if pins % 2 == 1 {
        let top = sides + 1;
        out.push_str(&format!("{}       {top}  {}\n", indent(""), label(top)));
    }
    for step in 0..sides {
        let (l, r) = (sides - step, pins - sides + 1 + step);
        let shell = match (step, step + 1 == sides) {
            (0, _) => " .-----. ",
            (_, true) => " '--v--' ",
            _ => "|       |",
        };
        let shell = if step + 1 == sides && sheet.base != Base::Octal {
            " '-- --' "
        } else {
            shell
        };
        out.push_str(&format!(
            "{}  {l}{shell}{r}  {}\n",
            indent(&label(l)),
            label(r)
        ));
    }
    let mark = match sheet.base {
        Base::Octal => "key",
        Base::Noval | Base::Miniature => "gap",
    };
    out.push_str(&format!("{}      {mark}\n", indent("")));
    out
}

/// What is on a pin.
fn words(pin: &Pin) -> String {
    if pin.internal {
        return "internal, leave free".to_owned();
    }
    if pin.uses.is_empty() {
        return "nothing".to_owned();
    }
    pin.uses
        .iter()
        .map(|u| match u.section {
            Some(section) => format!("{} {section}", plain(u.electrode.word())),
            None => plain(u.electrode.word()).to_owned(),
        })
        .collect::<Vec<_>>()
        .join(", ")
}

/// The electrode's word as a sentence has it.
fn plain(word: &str) -> &str {
    match word {
        "heater1" | "heater2" => "heater",
        "heatertap" => "heater tap",
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use wiring::sheet::Library;

    #[test]
    fn every_pin_stands_once_and_on_its_side() {
        for sheet in Library::built_in().types() {
            let picture = from_below(sheet);
            let pins = usize::from(sheet.base.pins());
            for number in 1..=pins {
                let digit = number.to_string();
                assert_eq!(
                    picture.matches(&digit).count(),
                    1,
                    "{} pin {number}\n{picture}",
                    sheet.name
                );
            }
            assert!(picture.lines().all(|l| count(l) <= 80), "{picture}");
        }
    }

    #[test]
    fn octal_counts_clockwise_from_the_key() {
        let sheet = Library::built_in().find("6V6GT").expect("there");
        let picture = from_below(sheet);
        let row = |n: &str| picture.lines().position(|l| l.contains(n)).expect(n);
        // 1 and 8 beside the key at the bottom, 4 and 5 at the top.
        assert_eq!(row("1"), row("8"));
        assert_eq!(row("4"), row("5"));
        assert!(row("4") < row("1"));
        let bottom = picture.lines().nth(row("1")).expect("a line");
        assert!(bottom.find('1') < bottom.find('8'), "{picture}");
    }
}
