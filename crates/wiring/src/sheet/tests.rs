use super::*;
use crate::circuit::Electrode;

#[test]
fn the_built_in_file_reads_without_a_problem() {
    let (library, problems) = Library::read_built_in();
    assert_eq!(problems, Vec::new());
    assert!(library.types().len() >= 50, "{}", library.types().len());
}

#[test]
fn a_name_is_found_as_people_write_it() {
    let library = Library::built_in();
    for (typed, name) in [
        ("ECC83", "12AX7"),
        ("ecc 83", "12AX7"),
        ("6v6 GT", "6V6GT"),
        ("6V6", "6V6GT"),
        ("6L6-GC", "6L6GC"),
        ("GZ34", "5AR4"),
        ("6BQ5/EL84", "EL84"),
        ("XYZ/6BQ5", "EL84"),
        ("5881", "5881"),
        ("6sn7gta", "6SN7GTB"),
    ] {
        assert_eq!(
            library.find(typed).map(|s| s.name.as_str()),
            Some(name),
            "{typed}"
        );
    }
    for typed in ["", "-", "12AX", "R12", "/", "///"] {
        assert!(library.find(typed).is_none(), "{typed}");
    }
    assert_eq!(library.nearest("12AX8"), Some("12AX7"));
    assert_eq!(library.nearest("EL 85"), Some("EL84"));
    assert_eq!(library.nearest("capacitor"), None);
    // Not the 6SC7, whose pins are others.
    assert_eq!(library.nearest("6SN7"), Some("6SN7GT"));
    let suffixed = |name: &str| -> Vec<&str> {
        let found = library.with_suffix(name);
        found.iter().map(|s| s.name.as_str()).collect()
    };
    assert_eq!(suffixed("6sn7"), ["6SN7GT", "6SN7GTB"]);
    assert_eq!(suffixed("6L6"), ["6L6G", "6L6GC"]);
    assert_eq!(suffixed("5Y3"), ["5Y3GT"]);
    for none in ["12AX", "6", "", "6SN", "µ7"] {
        assert_eq!(suffixed(none), Vec::<&str>::new(), "{none}");
    }
}

#[test]
fn no_name_is_given_to_two_types() {
    let mut seen: Vec<String> = Vec::new();
    for sheet in Library::built_in().types() {
        for name in sheet.names() {
            assert!(!seen.contains(&plain(name)), "{name} twice");
            seen.push(plain(name));
        }
    }
}

/// Every type is whole: electrodes, pins, heater, limits, sources.
#[test]
fn every_type_is_whole() {
    let library = Library::built_in();
    for sheet in library.types() {
        let name = &sheet.name;
        let mut last = 0;
        for pin in &sheet.pins {
            assert!(
                pin.number > last,
                "{name}: pin {} twice or out of order",
                pin.number
            );
            assert!(
                pin.number <= sheet.base.pins(),
                "{name}: pin {}",
                pin.number
            );
            assert_eq!(
                pin.internal,
                pin.uses.iter().any(|u| u.electrode == Electrode::Internal),
                "{name}"
            );
            last = pin.number;
        }
        let sections = sheet.sections();
        let letters: Vec<Option<char>> = sections.iter().map(|s| s.letter).collect();
        let wanted: &[Option<char>] = match sheet.kind {
            ValveKind::Triode
            | ValveKind::Pentode
            | ValveKind::BeamTetrode
            | ValveKind::GasRegulator => &[None],
            ValveKind::TwinTriode | ValveKind::Rectifier | ValveKind::DirectlyHeatedRectifier => {
                &[Some('a'), Some('b')]
            }
            ValveKind::TriodePentode => &[Some('t'), Some('p')],
        };
        assert_eq!(letters, wanted, "{name}");
        for s in &sections {
            assert!(sheet.pin(s.letter, Electrode::Plate).is_some(), "{name}");
            assert!(sheet.pin(s.letter, Electrode::Cathode).is_some(), "{name}");
            let pentode = matches!(sheet.kind, ValveKind::Pentode | ValveKind::BeamTetrode)
                || s.letter == Some('p');
            assert_eq!(s.screen, pentode, "{name}");
            let no_grid = sheet.kind.is_rectifier() || sheet.kind == ValveKind::GasRegulator;
            assert_eq!(s.grid, !no_grid, "{name}");
        }
        if let (ValveKind::TwinTriode, [a, b]) = (sheet.kind, sections.as_slice()) {
            let pin = |s: &Section, e| sheet.pin(s.letter, e);
            assert!(
                pin(a, Electrode::Plate) < pin(b, Electrode::Plate),
                "{name}: section a is the one on the lower pins"
            );
        }
        assert_eq!(
            sheet.heater.is_none(),
            sheet.kind == ValveKind::GasRegulator,
            "{name}"
        );
        for part in sheet.heater_parts() {
            assert!(part.volts >= 5.0 && part.volts <= 12.6, "{name}");
            assert!(part.amps >= 0.1 && part.amps <= 3.0, "{name}");
        }
        if let Some(heater) = &sheet.heater
            && let Some(parallel) = heater.parallel
        {
            assert!(
                (heater.ends.volts / 2.0 - parallel.volts).abs() < 1e-9,
                "{name}"
            );
            assert!(
                (heater.ends.amps * 2.0 - parallel.amps).abs() < 1e-9,
                "{name}"
            );
        }
        assert!(!sheet.limits.is_empty(), "{name} has no limits");
        for set in &sheet.limits {
            assert!(!set.values.is_empty(), "{name}");
            assert!(
                set.section.is_none() || letters.contains(&set.section),
                "{name}"
            );
        }
        if sheet.kind.is_rectifier() {
            for q in [
                LimitQuantity::InverseVolts,
                LimitQuantity::PeakPlateAmps,
                LimitQuantity::OutputAmps,
            ] {
                assert!(sheet.guarding_limit(None, q).is_some(), "{name} {q:?}");
            }
        } else if sheet.kind != ValveKind::GasRegulator {
            for s in &sections {
                assert!(
                    sheet
                        .guarding_limit(s.letter, LimitQuantity::PlateVolts)
                        .is_some(),
                    "{name}"
                );
            }
        }
        let mut origins = vec![&sheet.pins_origin];
        origins.extend(sheet.heater.iter().map(|h| &h.origin));
        origins.extend(sheet.limits.iter().map(|l| &l.origin));
        origins.extend(sheet.capacitances.iter().map(|c| &c.origin));
        origins.extend(sheet.static_rows.iter().map(|r| &r.origin));
        origins.extend(sheet.stage_rows.iter().map(|r| &r.origin));
        origins.extend(sheet.curve_points.iter().map(|r| &r.origin));
        origins.extend(sheet.drop_rows.iter().map(|r| &r.origin));
        origins.extend(sheet.supply_rows.iter().map(|r| &r.origin));
        for origin in origins {
            for key in &origin.sources {
                let source = library.source(key);
                assert!(source.is_some(), "{name}: source {key}");
                let status = source.map(|s| s.status.as_str()).unwrap_or_default();
                assert!(
                    ["seen", "seen second-hand", "from memory, not seen"].contains(&status),
                    "{key}: {status}"
                );
            }
        }
        for row in &sheet.static_rows {
            assert!(
                row.section.is_none() || letters.contains(&row.section),
                "{name}"
            );
            assert!(
                row.plate > 0.0 && row.plate_amps.is_some_and(|amps| amps > 0.0),
                "{name}"
            );
        }
        for (_, curves) in &sheet.curves {
            assert!(
                curves == "none" || library.find(curves).is_some_and(|s| &s.name == curves),
                "{name}: curves of {curves}"
            );
        }
    }
}

#[test]
fn pins_of_known_types() {
    let library = Library::built_in();
    let pin =
        |name: &str, section, electrode| library.find(name).and_then(|s| s.pin(section, electrode));
    assert_eq!(pin("12AX7", Some('b'), Electrode::Grid), Some(7));
    assert_eq!(pin("12AX7", None, Electrode::HeaterTap), Some(9));
    assert_eq!(pin("6V6GT", None, Electrode::Screen), Some(4));
    assert_eq!(pin("EL84", None, Electrode::Cathode), Some(3));
    assert_eq!(pin("EL84", None, Electrode::Suppressor), Some(3));
    assert_eq!(pin("EL34", None, Electrode::Suppressor), Some(1));
    assert_eq!(pin("5Y3GT", None, Electrode::Cathode), Some(8));
    assert_eq!(pin("5Y3GT", None, Electrode::Heater1), Some(2));
    assert_eq!(pin("5Y3GT", None, Electrode::Heater2), Some(8));
    assert_eq!(pin("5Y3GT", Some('a'), Electrode::Plate), Some(4));
    assert_eq!(pin("6AN8", Some('p'), Electrode::Cathode), Some(9));
    assert_eq!(pin("12DW7", Some('b'), Electrode::Plate), Some(6));
    let doubled = library
        .find("6973")
        .map(|s| (1..=9).filter(|n| s.is_doubled(*n)).collect::<Vec<u8>>());
    assert_eq!(doubled, Some(vec![1, 3, 6, 8]));
    let internal = library.find("EL84").map(|s| {
        s.pins
            .iter()
            .filter(|p| p.internal)
            .map(|p| p.number)
            .collect::<Vec<u8>>()
    });
    assert_eq!(internal, Some(vec![1, 6, 8]));
}

#[test]
fn the_lower_of_several_rating_systems_guards() {
    let library = Library::built_in();
    let kt88 = library.find("KT88").unwrap();
    assert_eq!(
        kt88.guarding_limit(None, LimitQuantity::PlateWatts),
        Some(35.0)
    );
    let ecc83 = library.find("12AX7").unwrap();
    assert_eq!(
        ecc83.guarding_limit(Some('a'), LimitQuantity::PlateVolts),
        Some(300.0)
    );
    let low_mu = library.find("12DW7").unwrap();
    assert_eq!(
        low_mu.guarding_limit(Some('a'), LimitQuantity::PlateWatts),
        Some(3.3)
    );
    assert_eq!(
        low_mu.guarding_limit(Some('b'), LimitQuantity::PlateWatts),
        Some(1.2)
    );
    assert_eq!(
        low_mu.guarding_limit(None, LimitQuantity::PlateWatts),
        Some(1.2)
    );
    // 200 V with the heater negative is 100 V of direct volts with it positive.
    let gtb = library.find("6SN7GTB").unwrap();
    assert_eq!(
        gtb.guarding_limit(None, LimitQuantity::HeaterPositiveDcVolts),
        Some(100.0)
    );
}

#[test]
fn a_user_file_adds_types_and_tells_every_problem() {
    let text = "[source.mine]\ntext = 'my tester'\nstatus = 'seen'\n\
        [[valve]]\ntype = '6P1P'\nlike = '6V6GT'\nlimits = [{ system = 'design-centre', plate_volts = 250, confidence = 'low', source = 'mine' }]\n\
        [[valve]]\ntype = 'BAD1'\nlike = 'NOTHING'\n\
        [[valve]]\ntype = 'BAD2'\nplate = 3\n\
        [[valve]]\ntype = 'BAD3'\nkind = 'triode'\nbase = 'octal'\npins = { 9 = 'plate' }\npins_confidence = 'low'\npins_source = 'mine'\n\
        [[valve]]\ntype = 'BAD4'\nlike = '12AX7'\nlimits = [{ system = 'design-centre', plate_volts = -5, confidence = 'low', source = 'mine' }]\n\
        [[valve]]\ntype = 'BAD5'\nlike = '12AX7'\nlimits = [{ system = 'design-centre', plate_volts = 5, confidence = 'low', source = 'nobody' }]\n\
        [[valve]]\ntype = 'EL84'\nlike = '6P1P'\n";
    let (library, problems) = Library::with_user_file(text);
    assert_eq!(
        library
            .find("6P1P")
            .and_then(|s| s.guarding_limit(None, LimitQuantity::PlateVolts)),
        Some(250.0)
    );
    assert_eq!(
        library.find("EL84").and_then(|s| s.like.as_deref()),
        Some("6P1P")
    );
    assert_eq!(
        library.find("6P1P").and_then(|s| s.curves_of(None)),
        Some("6V6GT")
    );
    let lines: Vec<usize> = problems.iter().map(|p| p.place.line).collect();
    assert_eq!(problems.len(), 5, "{problems:#?}");
    assert_eq!(lines.iter().min(), Some(&8), "{problems:#?}");
    assert_eq!(library.types().len(), Library::built_in().types().len() + 1);
    let (library, problems) = Library::with_user_file("a = [\n[[valve");
    assert_eq!(problems.len(), 1);
    assert_eq!(library.types().len(), Library::built_in().types().len());
}

#[test]
fn any_text_is_survived() {
    proptest::proptest!(|(text in "[\\[\\]a-z0-9=\"{}, \n.]{0,200}")| {
        let _ = Library::with_user_file(&text);
        let _ = Library::built_in().find(&text);
        let _ = Library::built_in().nearest(&text);
    });
}

/// The example of docs/valves.md, read as it stands, and every message that the page lists.
#[test]
fn the_manual_page_is_true() {
    let manual = include_str!("../../../../docs/valves.md");
    let example = manual
        .split("```toml\n")
        .nth(1)
        .and_then(|rest| rest.split("```").next())
        .expect("an example");
    let (library, problems) = Library::with_user_file(example);
    assert_eq!(problems, Vec::new());
    let kin = library.find("6v6 x").expect("the first type");
    assert_eq!(kin.pin(None, Electrode::Screen), Some(4));
    assert_eq!(
        kin.guarding_limit(None, LimitQuantity::PlateWatts),
        Some(14.0)
    );
    let own = library.find("XT1A").expect("the second type");
    assert_eq!(own.curves_of(Some('b')), Some("12AX7"));
    for quantity in LimitQuantity::ALL {
        assert!(
            manual.contains(&format!("`{}`", quantity.1)),
            "{}",
            quantity.1
        );
    }
    let codes = |text: &str| {
        let (_, problems) = Library::with_user_file(text);
        problems.iter().map(|p| p.code).collect::<Vec<&str>>()
    };
    let ring = "[[valve]]\ntype = 'A'\nlike = 'B'\n[[valve]]\ntype = 'B'\nlike = 'A'\n";
    let twice = "[[valve]]\ntype = 'X1'\nlike = '12AX7'\n[[valve]]\ntype = 'x 1'\nlike = '12AX7'\n";
    for (text, wanted) in [
        ("[valve", vec!["types-file"]),
        ("[amp]\nx = 1\n", vec!["types-file"]),
        (
            "[[valve]]\ntype = 'X1'\nkind = 'hexode'\n",
            vec!["types-entry"],
        ),
        (twice, vec!["types-twice"]),
        (ring, vec!["types-like", "types-like"]),
        (
            "[source.common]\ntext = 'mine'\nstatus = 'seen'\n",
            vec!["types-entry"],
        ),
    ] {
        assert_eq!(codes(text), wanted, "{text}");
        for code in wanted {
            assert!(manual.contains(&format!("| `{code}` |")), "{code}");
        }
    }
}
