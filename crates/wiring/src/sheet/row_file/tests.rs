//! Every slip has its place, and leaves the other rows.

use super::*;

fn codes(text: &str) -> Vec<(&'static str, usize, usize)> {
    read_rows(text, 0)
        .diagnostics
        .iter()
        .map(|d| (d.code, d.place.line, d.place.column))
        .collect()
}

#[test]
fn columns_in_any_order_and_every_separator() {
    for text in [
        "grid,plate,plate_ma\n-2,250,1.2\n",
        "Plate V;plate mA;Grid V\r\n250;1.2;-2\r\n",
        "# my bench\nplate\tgrid\tplate_amps\n\n250 V\t\u{2212}2\t1.2 mA\n",
    ] {
        let read = read_rows(text, 0);
        assert_eq!(read.diagnostics, Vec::new(), "{text}");
        let row = &read.rows[0];
        assert_eq!(
            (row.plate, row.grid, row.plate_amps),
            (Some(250.0), Some(-2.0), Some(1.2e-3)),
            "{text}"
        );
    }
}

#[test]
fn what_the_data_sheet_command_prints_is_read() {
    let text = "plate_volts,screen_volts,grid_volts,cathode_ohms,plate_amps,screen_amps,gm_siemens\n\
                250,140,-2.2,,0.003,0.0006,0.0022\n";
    let read = read_rows(text, 0);
    assert_eq!(read.diagnostics, Vec::new());
    assert_eq!(read.rows[0].screen_amps, Some(6e-4));
    assert_eq!(read.rows[0].gm, Some(2.2e-3));
}

#[test]
fn volts_to_ground_are_taken_from_the_cathode() {
    let read = read_rows("plate,screen,grid,cathode,cathode_ma\n300,260,0,18,47\n", 0);
    let row = &read.rows[0];
    assert_eq!(
        (row.plate, row.screen, row.grid),
        (Some(282.0), Some(242.0), Some(-18.0))
    );
    assert_eq!(row.cathode_amps, Some(0.047));
}

#[test]
fn every_slip_has_its_line_and_column_and_leaves_the_others() {
    let text = "plate,grid,plate_ma,rp\n\
                250,-2,1.2,62k5\n\
                250,-2,x,\n\
                250,,1.2,\n\
                250,-2,,\n\
                250,-2,-1.2,\n\
                25000,-2,1,\n\
                250,-2,1.2,3,4\n\
                100, -1, 0.5, 80k\n";
    assert_eq!(
        codes(text),
        [
            ("rows-cell", 3, 8),
            ("rows-point", 4, 1),
            ("rows-current", 5, 1),
            ("rows-cell", 6, 8),
            ("rows-cell", 7, 1),
            ("rows-cell", 8, 14),
        ]
    );
    assert_eq!(read_rows(text, 0).rows.len(), 2);
    assert_eq!(codes(""), [("rows-header", 1, 1)]);
    assert_eq!(codes("1,2,3\n4,5,6\n"), [("rows-header", 1, 1)]);
    assert_eq!(
        codes("plate,grid,plate_ma,colour\n"),
        [("rows-column", 1, 21)]
    );
    assert_eq!(
        codes("plate,grid,plate_ma,note\n1,2,3,\"open\n"),
        [("rows-quote", 2, 1)]
    );
    assert_eq!(
        codes("plate;grid;plate_ma\n250;-2;1,2\n"),
        [("rows-cell", 2, 8)]
    );
    let comma = read_rows("plate;grid;plate_ma\n250;-2;1,2\n", 0);
    assert!(comma.diagnostics[0].advice.contains("`1.2`"));
}

#[test]
fn any_text_is_survived() {
    proptest::proptest!(|(text in "(plate|grid|drop|plate_ma|[,;\t\"\n\r0-9.kµ-]){0,60}")| {
        let read = read_rows(&text, 0);
        for d in read.diagnostics {
            proptest::prop_assert!(text.get(d.place.start..d.place.end).is_some());
            proptest::prop_assert!(ROW_CODES.contains(&d.code));
        }
    });
}
