//! What happens when a part fails: from the circuit solved with the fault where that was tried,
//! else what the dictionary of faults says of its place.

use super::About;
use crate::faults::{Faults, Prior, Sort};
use crate::powered::rectifiers;
use crate::sheet::Figure;
use crate::stress::{Failing, Stress};

/// So many rows of the dictionary are told for a part.
const MOST_ROWS: usize = 3;

pub(super) fn fails(of: &About<'_>, worked: &Stress) -> Vec<String> {
    let tried = worked.failing.iter().filter(|f| f.part == of.part.name);
    let mut all: Vec<String> = tried.map(words).collect();
    let Ok(faults) = Faults::standard() else {
        return all;
    };
    let rectifies = rectifiers(of.circuit, of.library).contains(&of.part.name);
    let Some(sort) = Sort::of(&of.part.kind, rectifies) else {
        return all;
    };
    let here = of.anatomy.roles.get(of.id.0).into_iter().flatten();
    let places: Vec<_> = here
        .filter_map(|r| Some((r.role, of.anatomy.blocks.get(r.block.0)?.kind)))
        .collect();
    let mut rows: Vec<_> = faults
        .faults
        .iter()
        .filter(|f| f.on == sort && !(f.roles.is_empty() && f.blocks.is_empty()))
        .filter(|f| {
            places.iter().any(|(role, block)| {
                (f.roles.is_empty() || f.roles.contains(role))
                    && (f.blocks.is_empty() || f.blocks.contains(block))
            })
        })
        .collect();
    rows.sort_by_key(|f| match f.prior {
        Prior::Common => 0,
        Prior::Occasional => 1,
        Prior::Rare => 2,
    });
    for fault in rows.into_iter().take(MOST_ROWS) {
        let heard: Vec<String> = fault.symptoms.iter().map(|s| s.replace('_', " ")).collect();
        let how = match fault.prior {
            Prior::Common => "common",
            Prior::Occasional => "occasional",
            Prior::Rare => "rare",
        };
        let heard = if heard.is_empty() {
            String::new()
        } else {
            format!(": {}", heard.join(", "))
        };
        all.push(format!("{} ({how}){heard}", fault.words));
    }
    all
}

fn words(f: &Failing) -> String {
    if let Some(why) = &f.blows {
        return format!("{}: {}", f.fault, why.trim_end_matches('.'));
    }
    if let Some(why) = &f.unsolved {
        return format!("{}: not computed, {}", f.fault, why.trim_end_matches('.'));
    }
    let pushed: Vec<String> = f
        .pushed
        .iter()
        .take(3)
        .map(|p| {
            let unit = p.quantity.unit();
            format!(
                "{} {} {}, rated {}",
                p.part,
                p.kind.word(),
                Figure::new(p.value, unit),
                Figure::new(p.rating, unit)
            )
        })
        .collect();
    format!("{}: {}", f.fault, pushed.join("; "))
}
