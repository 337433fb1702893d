use super::*;

fn codes(text: &str) -> Vec<&'static str> {
    let read = wiring::read_one(text);
    let errors: Vec<_> = read
        .problems
        .iter()
        .filter(|d| d.severity == wiring::Severity::Error)
        .collect();
    assert!(errors.is_empty(), "{text}\n{errors:#?}");
    sanity(&read.circuit, Library::built_in())
        .into_iter()
        .map(|f| f.code)
        .collect()
}

/// A stage that is sound, and one change that makes it odd.
#[test]
fn each_check_fires_on_its_smallest_case() {
    let stage = "V1 12AX7\nV1.1 - R1 100k - B3\nB3 - +C9 8u 450V - ground\nV1.3 - [R2 1k5 | +C1 25u 25V] - ground\nV1.2 - R3 1M - ground\n";
    assert_eq!(codes(stage), Vec::<&str>::new());
    let cases = [
        (
            "V1 12AX7\nV1.1 - R1 100k - B3\nB3 - +C9 8u 450V - ground\nV1.3 - R2 1k5 - ground\nV2 12AX7\nV2.1 - R8 100k - B3\nV2.3 - R9 1k5 - ground\nV2.2 - R10 1M - ground\nV2.1 - C2 22n - V1.2\n",
            "grid-without-path",
        ),
        (
            "V1 12AX7\nV1.1 - C2 22n - V1.7\nV1.7 - R9 1M - ground\nV1.3 - R2 1k5 - ground\nV1.2 - R3 1M - ground\n",
            "plate-without-supply",
        ),
        (&stage.replace("+C9", "C9+"), "electrolytic-reversed"),
        (&stage.replace("+C1", "C1+"), "electrolytic-reversed"),
        (
            "T1 power 230 V: heater 6.3 V 2 A\nV1 12AX7\nT1.heater1 - V1.4 - V1.5\nT1.heater2 - V1.9\n",
            "heater-without-reference",
        ),
        (
            "T1 power 230 V: heater 6.3 V 2 A\nV1 6V6GT\nT1.heater1 - V1.2\nT1.heater2 - V1.3\nT1.heater2 - ground\n",
            "socket-not-for-type",
        ),
        (
            "V1 12AX7\nV1.1 - ground\nV1.2 - R1 1M - ground\n",
            "socket-not-for-type",
        ),
        (
            "V1 6V6GT = 7591\nV1.3 - R1 1k - B1\nB1 - +C9 8u 450V - ground\nV1.8 - R2 470 - ground\nV1.5 - R3 470k - ground\nV1.4 - B1\n",
            "socket-not-for-type",
        ),
        (
            "V1 6V6GT = 6L6GC\nV1.3 - R1 22k - B1\nB1 - +C9 8u 450V - ground\nV1.8 - R2 470 - ground\nV1.5 - R3 470k - ground\nV1.4 - B1\n",
            "heater-current-rises",
        ),
        (
            "V1 5Y3GT = EZ81\nV1.4 - R1 100 - e1\n",
            "socket-not-for-type",
        ),
        (
            "D1 silicon\nlive - F1 fuse 1A - S1 switch closed - D1> - B1\nB1 - +C1 40u 200V - ground\nneutral - R9 1 - ground\n",
            "chassis-on-mains",
        ),
        (
            "V1 6V6GT\nV2 6V6GT\nlive - F1 fuse 1A - R1 150 - V1.2\nV1.7 - V2.2\nV2.7 - neutral\n",
            "heaters-on-mains",
        ),
        (&stage.replace("R1 100k", "R1 1k"), "value-misread"),
        (&stage.replace("R2 1k5", "R2 150k"), "value-misread"),
    ];
    for (text, code) in cases {
        let found = codes(text);
        assert!(
            found.contains(&code),
            "{code} does not fire on\n{text}{found:?}"
        );
        assert!(
            // A socket wired for another type is odd in more than one way.
            code == "socket-not-for-type" || found.iter().all(|c| *c == code),
            "beside {code}: {found:?}\n{text}"
        );
    }
}

/// What is sound, or simply not traced yet, and looks odd at first sight.
#[test]
fn silent_on_what_only_looks_odd() {
    let cases = [
        // The rectifier's own winding is at high tension, and screens may stand on it.
        "T1 power 120 V: hv 300-0-300 V 80 mA, rect 5 V 2 A\nV7 5Y3GT\nV5 6V6GT\nT2 output 5k:4 ohm 5 W single\nT1.hv1 - V7.4\nT1.hv2 - V7.6\nT1.hv0 - ground\nT1.rect1 - V7.2\nT1.rect2 - V7.8\nV7.8 - B1\nB1 - +C1 16u 450V - ground\nV5.3 - T2.p1\nT2.p2 - B1\nV5.4 - B1\nV5.8 - R1 470 - ground\nV5.5 - R2 470k - ground\n",
        // The same without its reservoir and its name.
        "T1 power 120 V: rect 5 V 2 A\nV7 5Y3GT\nV5 6V6GT\nT1.rect1 - V7.2\nT1.rect2 - V7.8\nV7.8 - V5.4\n",
        // Half a primary.
        "V5 6V6GT\nT2 output 8k:8 ohm 15 W\nV5.3 - T2.p1\nV5.5 - R1 220k - ground\n",
        // Two halves side by side, their grids not traced any further.
        "V1 12AU7\nV1.1 - V1.6 - R1 47k - B1\nB1 - +C9 16u 450V - ground\nV1.2 - V1.7\nV1.3 - V1.8 - R2 1k - ground\n",
        // Grids on a driver's secondary whose middle is not traced.
        "V5 6L6GC\nT3 inter 1:2+2\nT3.s1 - V5.5\n",
    ];
    for text in cases {
        assert_eq!(codes(text), Vec::<&str>::new(), "{text}");
    }
}

/// Sound circuits stay silent, whole and with any one line not traced yet.
#[test]
fn silent_on_snippets_and_sound_examples() {
    for s in wiring::snippet::SNIPPETS {
        let read = wiring::read_one(s.text);
        let found = sanity(&read.circuit, Library::built_in());
        assert!(found.is_empty(), "{}: {found:#?}", s.name);
    }
    for text in [
        include_str!("../../../../examples/pip.wiring"),
        include_str!("../../../../examples/curlew.wiring"),
        include_str!("../../../../examples/turnstone.wiring"),
    ] {
        let found = sanity(&wiring::read_one(text).circuit, Library::built_in());
        assert!(found.is_empty(), "{found:#?}");
    }
}

/// With a line missing, nothing stops the bench: what is not traced is not called dangerous.
#[test]
fn half_a_tracing_is_not_called_dangerous() {
    for text in [
        include_str!("../../../../examples/pip.wiring"),
        include_str!("../../../../examples/curlew.wiring"),
        include_str!("../../../../examples/turnstone.wiring"),
    ] {
        let lines: Vec<&str> = text.lines().collect();
        for cut in 0..lines.len() {
            let without: Vec<&str> = lines
                .iter()
                .enumerate()
                .filter(|(i, _)| *i != cut)
                .map(|(_, l)| *l)
                .collect();
            let found = sanity(
                &wiring::read_one(&without.join("\n")).circuit,
                Library::built_in(),
            );
            let stop: Vec<_> = found
                .iter()
                .filter(|f| f.gravity == Gravity::Stop)
                .collect();
            assert!(stop.is_empty(), "without `{}`: {stop:#?}", lines[cut]);
        }
    }
}
