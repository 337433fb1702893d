//! The pages, in the order of a job. Each reads the record once, and every change is a form.

pub(crate) mod archive;
pub(crate) mod bench;
pub(crate) mod chart;
pub(crate) mod clash;
pub(crate) mod comeback;
pub(crate) mod conditions;
pub(crate) mod driven;
pub(crate) mod entrance;
pub(crate) mod estimate;
pub(crate) mod find;
pub(crate) mod gate;
pub(crate) mod grid;
pub(crate) mod hand_over;
pub(crate) mod help;
pub(crate) mod intake;
pub(crate) mod invoice;
pub(crate) mod invoices;
pub(crate) mod job;
pub(crate) mod journal;
pub(crate) mod keys;
pub(crate) mod kin;
pub(crate) mod listen;
pub(crate) mod look;
pub(crate) mod new;
pub(crate) mod ordering;
pub(crate) mod orders;
pub(crate) mod orders_csv;
pub(crate) mod paper;
pub(crate) mod parts;
pub(crate) mod photos;
pub(crate) mod power;
pub(crate) mod power_up;
pub(crate) mod reading;
pub(crate) mod recordings;
pub(crate) mod report;
pub(crate) mod revisions;
pub(crate) mod run_sheet;
pub(crate) mod set_up;
pub(crate) mod settings;
pub(crate) mod step;
pub(crate) mod suspects;
pub(crate) mod tracing;
pub(crate) mod voicing;
pub(crate) mod what_if;
pub(crate) mod work;

use super::ask::Fields;
use maud::{Markup, html};

/// Where a form goes back to: an address of our own, whatever was typed.
pub(crate) fn back(fields: &Fields, otherwise: &str) -> String {
    let to = fields.get("back");
    let own = to.starts_with('/')
        && !to.starts_with("//")
        && !to.contains('\\')
        && !to.chars().any(char::is_control);
    if own {
        to.to_owned()
    } else {
        otherwise.to_owned()
    }
}

/// A labelled line to type into.
pub(crate) fn field(label: &str, name: &str, value: &str) -> Markup {
    html! { label { span { (label) } input name=(name) value=(value) autocomplete="off"; } }
}

/// A labelled box for several lines.
pub(crate) fn area(label: &str, name: &str, value: &str, rows: usize) -> Markup {
    html! { label { span { (label) } textarea name=(name) rows=(rows) { (value) } } }
}

/// A choice of words; the chosen one is marked.
pub(crate) fn choice(label: &str, name: &str, options: &[(&str, &str)], chosen: &str) -> Markup {
    html! {
        label {
            span { (label) }
            select name=(name) {
                @for (value, words) in options {
                    option value=(value) selected[*value == chosen] { (words) }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_form_leads_back_to_our_own_pages_only() {
        let to = |t: &str| back(&Fields::of(vec![("back".into(), t.into())]), "/");
        assert_eq!(to("/job/42/chart?at=V2.3"), "/job/42/chart?at=V2.3");
        for bad in [
            "//evil.example",
            "http://evil.example",
            "/\\evil.example",
            "",
            "javascript:1",
            "/a\nb",
        ] {
            assert_eq!(to(bad), "/", "{bad}");
        }
    }
}
