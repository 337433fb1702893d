//! The drawings that an amp may be held against, and what came of it, kept until a text changes.

use super::site::Site;
use super::work_out::{self, Found, Traced};
use crate::commands::kin::MOST_PARTS;
use bench::kin::{Drawing, Kin, kin};
use shop::{JobId, Reader, ReadingState, RevisionId, ShopError, WiringId, WiringState};
use std::sync::Arc;
use wiring::Circuit;

/// Drawings at a time on a page.
pub(crate) const MOST: usize = 8;
/// Drawings that are chosen where nobody chose.
const CHOSEN: usize = 5;

/// Something that the shop could hold an amp against.
#[derive(Debug, Clone)]
pub(crate) struct Shelved {
    pub(crate) id: WiringId,
    pub(crate) name: String,
    /// A drawing, not another amp on the bench.
    pub(crate) of_shop: bool,
}

/// A drawing that is chosen.
#[derive(Debug)]
pub(crate) struct Held {
    pub(crate) id: WiringId,
    pub(crate) name: String,
    pub(crate) of_shop: bool,
    /// Its latest text.
    pub(crate) base: Option<RevisionId>,
    pub(crate) traced: Arc<Traced>,
}

/// The drawings of the shop, then the other open amps as they were found.
pub(crate) fn shelved(r: &Reader<'_>, job: JobId) -> Result<Vec<Shelved>, ShopError> {
    let mut all: Vec<Shelved> = r
        .drawings()?
        .into_iter()
        .map(|w| Shelved {
            id: w.id,
            name: w.name,
            of_shop: true,
        })
        .collect();
    for other in r.open_jobs()? {
        if other.id == job {
            continue;
        }
        if let Some(w) = r.wiring_of(other.id, WiringState::AsFound)? {
            all.push(Shelved {
                id: w.id,
                name: format!("{} {} as found", other.id, other.amp.fields.short()),
                of_shop: false,
            });
        }
    }
    Ok(all)
}

/// The chosen ones with their texts; where nobody chose, drawings that say they are of this amp.
pub(crate) fn held(
    site: &Site,
    r: &Reader<'_>,
    found: &Found,
    shelved: &[Shelved],
    asked: &[WiringId],
) -> Result<Vec<Held>, ShopError> {
    let amp = &found.traced.circuit.heading.amp;
    let mut held = Vec::new();
    for s in shelved {
        let most = if asked.is_empty() { CHOSEN } else { MOST };
        if held.len() >= most {
            break;
        }
        if (asked.is_empty() && !s.of_shop) || (!asked.is_empty() && !asked.contains(&s.id)) {
            continue;
        }
        let Some(head) = r.head(s.id)? else { continue };
        let traced = work_out::trace(site, &format!("drawing {}", s.id), &head.text, "");
        if asked.is_empty() && (amp.is_none() || traced.circuit.heading.amp != *amp) {
            continue;
        }
        held.push(Held {
            id: s.id,
            name: s.name.clone(),
            of_shop: s.of_shop,
            base: Some(head.id),
            traced,
        });
    }
    Ok(held)
}

/// Holds the amp against them.
pub(crate) fn compare(site: &Site, found: &Found, held: &[Held]) -> Arc<Kin> {
    let mut key = found.traced.text.clone();
    for h in held {
        key.push('\u{0}');
        key.push_str(&h.name);
        key.push('\u{0}');
        key.push_str(&h.traced.text);
    }
    site.kept.kins.get(&found.place, key, || {
        let nothing = Circuit::default();
        let drawings: Vec<Drawing<'_>> = held
            .iter()
            .map(|h| Drawing {
                name: &h.name,
                // far more parts than an amplifier has: told as no kin, not compared
                circuit: if h.traced.circuit.parts.len() > MOST_PARTS {
                    &nothing
                } else {
                    &h.traced.circuit
                },
            })
            .collect();
        kin(&found.traced.circuit, &site.library, &drawings)
    })
}

/// What the page of a job will ask for first.
pub(crate) fn ahead(site: &Site, job: JobId) -> Result<(), ShopError> {
    let (found, held) = site.shop.read(|r| {
        let found = work_out::found(site, r, job, ReadingState::AsFound)?;
        let shelved = shelved(r, job)?;
        let held = held(site, r, &found, &shelved, &[])?;
        Ok::<_, ShopError>((found, held))
    })?;
    if !held.is_empty() && found.traced.circuit.parts.len() <= MOST_PARTS {
        let _ = compare(site, &found, &held);
    }
    Ok(())
}
