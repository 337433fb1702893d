//! Whatever comes as a spreadsheet of readings.

pub(crate) fn run(bytes: &[u8]) {
    let sheet = String::from_utf8_lossy(bytes);
    let imported = wiring::csv::import(&sheet, 0);
    for problem in &imported.diagnostics {
        let place = problem.place;
        assert!(sheet.get(place.start..place.end).is_some(), "{problem:?}");
        assert!(
            !problem.message.is_empty() && !problem.advice.is_empty(),
            "{problem:?}"
        );
    }
    // what it becomes is read as readings, whatever it is
    as_readings(&imported.text);
}

fn as_readings(text: &str) {
    let amp = wiring::read_one("V1 12AX7\nB1 - R1 100k - V1.1\n").circuit;
    let name = "sheet.readings";
    let _ = wiring::read_readings(&wiring::Text { name, text }, &amp);
}
