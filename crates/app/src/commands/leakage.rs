//! `leakage`: coupling capacitors and electrolytics judged from typed readings.

use crate::arguments::{Leakage as Given, Place as Where};
use crate::bench_sheet;
use crate::outcome::{Failure, Outcome};
use bench::leakage::{Coupling, Electrolytic, LeakageRequest, Place, leakage};

/// Runs `leakage`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let coupling = Coupling {
        place: given.place.map(|place| match place {
            Where::Output => Place::Output,
            Where::Preamp => Place::Preamp,
        }),
        grid: given.grid.map(|v| v.value),
        rest: given.lifted.map(|v| v.value),
        grid_leak: given.grid_leak.map(|v| v.value),
        plate: given.plate.map(|v| v.value),
        meter_volts: given.meter_volts.map(|v| v.value),
        across: given.across.map(|v| v.value),
        meter_ohms: given.meter.map(|v| v.value),
    };
    let electrolytic = Electrolytic {
        farads: given.capacitance.map(|v| v.value),
        rated: given.rated.map(|v| v.value),
        leakage: given.leakage.map(|v| v.value),
        drop: given.drop.map(|v| v.value),
        over: given.over.map(|v| v.value),
        esr: given.esr.map(|v| v.value),
        hertz: given.hertz.map(|v| v.value),
        measured: given.measured.map(|v| v.value),
    };
    let sheet = leakage(&LeakageRequest {
        coupling,
        electrolytic,
    });
    bench_sheet::outcome(&sheet, &given.form)
}
