use super::*;
use proptest::prelude::*;

fn ohms(text: &str) -> f64 {
    Ohms::read(text).unwrap().0
}

fn farads(text: &str) -> f64 {
    Farads::read(text).unwrap().0
}

/// Markings as IEC 60062 codes them (from memory of the standard, not seen).
#[test]
fn resistors_read_as_the_trade_writes_them() {
    for (text, value) in [
        ("68k", 68e3),
        ("4k7", 4700.0),
        ("4K7", 4700.0),
        ("4R7", 4.7),
        ("R47", 0.47),
        ("470", 470.0),
        ("470R", 470.0),
        ("1M", 1e6),
        ("2M2", 2.2e6),
        ("1.5 meg", 1.5e6),
        ("100 ohm", 100.0),
        ("100 Ω", 100.0),
        ("100\u{2126}", 100.0),
        ("68 kohm", 68e3),
        ("0", 0.0),
    ] {
        assert_eq!(ohms(text), value, "{text}");
    }
}

#[test]
fn capacitors_read_as_the_trade_writes_them() {
    for (text, value) in [
        ("22n", 22e-9),
        ("2n2", 2.2e-9),
        ("250p", 250e-12),
        (".022", 0.022e-6),
        ("0.1", 0.1e-6),
        ("25u", 25e-6),
        ("25µF", 25e-6),
        ("25 μF", 25e-6),
        ("100mmf", 100e-12),
        ("100 MMFD", 100e-12),
        (".1MFD", 0.1e-6),
        ("8 mfd", 8e-6),
    ] {
        assert_eq!(farads(text), value, "{text}");
    }
}

#[test]
fn two_readings_are_an_error_that_offers_both() {
    let offers = |text: &str, quantity| {
        let error = parse(text, quantity).unwrap_err();
        (error.code(), error.offers().to_vec())
    };
    assert_eq!(
        offers("1m", Quantity::Ohms),
        ("milli-or-mega", vec!["1M".into(), "0R001".into()])
    );
    assert_eq!(
        offers("100", Quantity::Farads),
        ("bare-capacitor-value", vec!["100p".into(), "100u".into()])
    );
    assert_eq!(
        offers("10mF", Quantity::Farads),
        ("milli-or-micro", vec!["10u".into(), "10000u".into()])
    );
    assert_eq!(
        offers("4,7k", Quantity::Ohms),
        ("decimal-comma", vec!["4.7k".into()])
    );
    assert_eq!(
        offers("1,000", Quantity::Ohms),
        ("decimal-comma", vec!["1.000".into(), "1000".into()])
    );
    assert_eq!(
        offers("70MA", Quantity::Amps),
        ("milli-or-mega", vec!["70mA".into()])
    );
    assert_eq!(
        offers("1e3", Quantity::Ohms),
        ("exponent", vec!["1k".into()])
    );
    assert_eq!(offers("1e999", Quantity::Ohms), ("exponent", vec![]));
    assert_eq!(
        offers("99999999999999999M", Quantity::Ohms),
        ("out-of-range", vec![])
    );
    assert_eq!(offers("22n", Quantity::Ohms), ("wrong-unit", vec![]));
    assert_eq!(
        offers("5", Quantity::Henries),
        ("no-unit", vec!["5H".into()])
    );
}

#[test]
fn the_last_digit_typed_is_kept() {
    for (text, digit) in [
        ("172", 1.0),
        ("1.32", 0.01),
        ("19.40", 0.01),
        ("104k", 1e3),
        ("4k7", 100.0),
        ("4mV", 1e-3),
        ("-0.02", 0.01),
    ] {
        assert_eq!(parse_raw(text).unwrap().digit, digit, "{text}");
    }
}

#[test]
fn figures_print_in_engineering_notation() {
    assert_eq!(Ohms(4700.0).to_string(), "4k7");
    assert_eq!(Ohms(4.7).to_string(), "4R7");
    assert_eq!(Ohms(470.0).to_string(), "470");
    assert_eq!(Ohms(1e6).to_string(), "1M");
    assert_eq!(Farads(22e-6).to_string(), "22 µF");
    assert_eq!(Farads(22e-9).to_string(), "22 nF");
    assert_eq!(Farads(4700e-6).to_string(), "4700 µF");
    assert_eq!(Volts(-0.0132).to_string(), "-13.2 mV");
    assert_eq!(format!("{:.3}", Volts(287.345)), "287 V");
    assert_eq!(format!("{:.3}", Amps(0.045_678)), "45.7 mA");
    assert_eq!(Watts(0.5).to_string(), "500 mW");
    assert_eq!(Volts(f64::NAN).to_string(), "unknown");
    assert_eq!(notation(0.15, Quantity::Henries), "150mH");
}

#[test]
fn arithmetic_follows_ohms_law() {
    let current = Volts(300.0) / Ohms(100e3);
    assert_eq!(current, Amps(3e-3));
    assert_eq!(Volts(300.0) * current, Watts(0.9));
    assert_eq!(Ohms(1e6) * Farads(1e-6), Seconds(1.0));
    assert_eq!(Hertz(50.0).period(), Seconds(0.02));
}

proptest! {
    #[test]
    fn print_then_read_gives_the_same_number(
        which in 0..8usize, mantissa in 1.0..10.0f64, power in -14i32..13,
    ) {
        let quantity = Quantity::ALL[which];
        let value = mantissa * 10f64.powi(power);
        let (low, high) = quantity.range();
        prop_assume!(value >= low && value <= high);
        // A bare print of farads keeps its prefix, so every form reads back.
        for text in [engineering(value, quantity), notation(value, quantity)] {
            prop_assert_eq!(parse(&text, quantity).map(|r| r.value), Ok(value), "{}", text);
        }
    }

    #[test]
    fn any_text_is_a_value_or_an_error(text in "\\PC{0,24}") {
        for quantity in Quantity::ALL {
            if let Ok(raw) = parse(&text, quantity) {
                prop_assert!(raw.value.is_finite());
            }
        }
        let _ = reads_as_number(&text);
        let _ = reads_as_unit(&text);
        let _ = parse_percent(&text);
    }

    #[test]
    fn near_values_are_a_value_or_an_error(
        text in "[-+]?[0-9.,]{0,5}[a-zA-Zµ%/]{0,4}[0-9]{0,3}[a-zA-Z]{0,3}"
    ) {
        for quantity in Quantity::ALL {
            let _ = parse(&text, quantity);
        }
    }
}
