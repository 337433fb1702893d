//! `stress`: how hard each part is worked against its rating, and what one fault takes with it.

use crate::arguments::Stress as Given;
use crate::outcome::{Failure, Outcome};
use crate::wired_sheet;
use bench::power::{PowerRequest, power};
use bench::stress::{stress, stress_under};

/// Runs `stress`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let amp = wired_sheet::load(&given.wired)?;
    let asked = wired_sheet::asked(&given.wired, &amp)?;
    let stress = if given.drive {
        let request = PowerRequest {
            asked: asked.clone(),
            hertz: PowerRequest::default().hertz.into_iter().take(1).collect(),
            ..PowerRequest::default()
        };
        let tells = &mut wired_sheet::tells();
        let driven = power(&amp.circuit, &amp.library, &request, tells);
        let mut stress = stress_under(&amp.circuit, &amp.library, &asked, &driven.drives);
        // why it could not be driven, where it could not
        for m in driven.sheet.missing {
            stress.sheet.missing(m.what, m.remedy);
        }
        stress
    } else {
        stress(&amp.circuit, &amp.library, &asked)
    };
    let value = serde_json::to_value(&stress).unwrap_or_default();
    wired_sheet::outcome(&amp, &stress.sheet, value, &given.form)
}
