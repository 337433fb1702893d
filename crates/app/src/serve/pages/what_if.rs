//! What if, on the supply sheet: another mains, another rectifier, other capacitors. Nothing here is written down.

use crate::arguments::mains_volts;
use crate::serve::ask::Fields;
use bench::instead::{Instead, Refused};
use maud::{Markup, html};
use shop::JobId;
use wiring::circuit::{Circuit, Kind, Part};
use wiring::roles::{Role, anatomy};
use wiring::sheet::Library;
use wiring::units::{Quantity, rounded};

/// What was typed.
pub(crate) struct WhatIf {
    /// Mains volts.
    pub(crate) mains: Option<f64>,
    /// Parts.
    pub(crate) changes: Vec<Instead>,
}

impl WhatIf {
    /// From the fields of the page; what is left empty stays as wired, and none where all is.
    pub(crate) fn of(circuit: &Circuit, fields: &Fields) -> Result<Option<Self>, Refused> {
        let mains = fields.some("mains").map(|typed| {
            mains_volts(typed).map_err(|_| Refused {
                what: format!("`{typed}` is no mains."),
                remedy: "Type its volts as a number, for example 233.".to_owned(),
            })
        });
        let what = Self {
            mains: mains.transpose()?,
            changes: exchangeable(circuit)
                .filter_map(|part| {
                    Some(Instead {
                        part: part.name.clone(),
                        with: fields.some(&field(&part.name))?.to_owned(),
                    })
                })
                .collect(),
        };
        Ok((what.mains.is_some() || !what.changes.is_empty()).then_some(what))
    }
}

fn field(part: &str) -> String {
    format!("if {part}")
}

/// Rectifier valves, and the capacitors of the supply.
fn exchangeable(circuit: &Circuit) -> impl Iterator<Item = &Part> {
    let roles = anatomy(circuit).roles;
    circuit
        .parts
        .iter()
        .enumerate()
        .filter_map(move |(i, part)| {
            let supply = roles.get(i).is_some_and(|all| {
                all.iter()
                    .any(|r| matches!(r.role, Role::Rectifier | Role::Reservoir | Role::Filter))
            });
            let kind = matches!(part.kind, Kind::Valve(_) | Kind::Capacitor { .. });
            (supply && kind).then_some(part)
        })
}

/// The form.
pub(crate) fn form(
    id: JobId,
    circuit: &Circuit,
    library: &Library,
    typed: &Fields,
    refused: Option<&Refused>,
) -> Markup {
    let parts: Vec<&Part> = exchangeable(circuit).collect();
    let asked = typed
        .pairs()
        .any(|(name, value)| name != "sheet" && !value.is_empty());
    html! {
        section.sheet {
            details open[asked] {
                summary { "What if" }
                form method="get" action=(format!("/job/{id}/set-up")) {
                    input type="hidden" name="sheet" value="supply";
                    @if let Some(r) = refused { p.error role="alert" { strong { (r.what) } " " (r.remedy) } }
                    label { span { "Mains" } input name="mains" inputmode="decimal" autocomplete="off" placeholder="as it is" value=(typed.get("mains")); }
                    @for part in &parts {
                        @match &part.kind {
                            Kind::Valve(valve) => (rectifier(part, valve.type_in_socket(), library, typed)),
                            Kind::Capacitor { farads, .. } => {
                                label { span { (part.name) " instead of " (farads.map_or_else(|| "unknown".to_owned(), |f| rounded(f, Quantity::Farads, 3))) }
                                    input name=(field(&part.name)) autocomplete="off" placeholder="as wired" value=(typed.get(&field(&part.name)));
                                }
                            }
                            _ => {}
                        }
                    }
                    div.others {
                        button.button { "Work it out" }
                        @if asked { a.button href=(format!("/job/{id}/set-up?sheet=supply")) { "As wired" } }
                    }
                    p.hint { "Nothing here changes the wiring." }
                }
            }
        }
    }
}

/// Rectifiers that go into the same socket, and silicon.
fn rectifier(part: &Part, fitted: &str, library: &Library, typed: &Fields) -> Markup {
    let base = library.find(fitted).map(|s| s.base);
    let name = field(&part.name);
    let chosen = typed.get(&name);
    let all = library
        .types()
        .iter()
        .filter(|s| s.kind.is_rectifier() && Some(s.base) == base && s.name != fitted);
    html! {
        label { span { (part.name) " instead of " (fitted) }
            select name=(name) {
                option value="" { "as wired" }
                @for sheet in all { option value=(sheet.name) selected[chosen == sheet.name] { (sheet.name) } }
                option value="silicon" selected[chosen == "silicon"] { "silicon" }
            }
        }
    }
}
