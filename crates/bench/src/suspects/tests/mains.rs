//! Ripple, heater volts and the swings of a tremolo as evidence.

use super::*;

/// A supply with its rectifier, and one stage on it: 275-0-275 V, 5Y3GT, two filter sections.
const SUPPLIED: &str = "mains 230 V 50 Hz\n\
    T1 power 230 V 18 ohm: hv 275-0-275 V 70 mA 210 ohm, heater 6.3 V 0.3 A, rect 5 V 2 A\n\
    V3 5Y3GT\nV1 12AX7\nlive - T1.pri1\nneutral - T1.pri2\n\
    T1.hv1 - V3.4\nT1.hv2 - V3.6\nT1.hv0 - ground\nV3.2 - T1.rect1\nV3.8 - T1.rect2\nV3.8 - B1\n\
    B1 - +C6 16u 450V electrolytic - ground\nB1 - R9 1k5 5W - B2\nB2 - +C7 16u 450V electrolytic - ground\n\
    B1 - R20 6k8 film - ground\nB2 - R1 100k 5% film - V1.1\nV1.3 - R2 1k5 5% film - ground\n\
    V1.2 - R3 1M 5% film - ground\nT1.heater1 - V1.4\nV1.4 - V1.5\nT1.heater2 - V1.9\nV1.9 - ground\n";

/// The reservoir's ripple: with full-wave rectification at 50 Hz a capacitor C that feeds I ripples by
/// about I / (2 sqrt(3) f' C) rms, f' = 100 Hz, the textbook's triangle without the time it is charged in
/// (common practice, no source): 45 mA and 16 uF make 8.1 V; with its charging time a fifth to a third less.
#[test]
fn the_ripple_of_a_sound_supply_is_the_textbooks() {
    let found = of(SUPPLIED, "readings as found\nmeter 10M 0.5%\nB1 40 ac\n");
    assert_eq!(found.used, 1, "{:#?}", found.unused);
    let told = found.suspects.iter().flat_map(|s| &s.explains);
    let sound = told
        .map(|e| e.sound)
        .next()
        .expect("a suspect that explains it");
    let amps = 307.0 / 6800.0;
    let triangle = amps / (2.0 * 3f64.sqrt() * 100.0 * 16e-6);
    assert!(
        (0.6..1.05).contains(&(sound / triangle)),
        "{sound} for {triangle}"
    );
}

/// Ripple tells a dried filter from a sound one, which volts hardly do; a rectifier with one half dead
/// ripples at the mains frequency and over twice as much (trade practice, no source: `found = ripple`
/// of these rows of the dictionary).
#[test]
fn ripple_finds_what_volts_hardly_show() {
    let volts = "readings as found\nmeter 10M 0.5%\nV1.3 1.9\n";
    let first = |more: &str| {
        let found = of(SUPPLIED, &format!("{volts}{more}"));
        sums_to_one(&found);
        found
    };
    // sound: about 10 V at the reservoir and, behind 1k5 and 16u (a 1/15 at 100 Hz), 0.7 V
    let sound = first("B1 9.5 ac\nB2 0.64 ac\nT1.heater1 to T1.heater2 6.35 ac\n");
    assert_eq!(sound.used, 4, "{:#?}", sound.unused);
    let dried = first("B1 9.5 ac\nB2 8.0 ac\n");
    let c7 = dried.suspects.iter().filter(|s| s.part == "C7");
    let c7: f64 = c7.map(|s| s.probability).sum();
    assert!(c7 > 0.9, "{:?}", firsts(&dried));
    assert!(
        sound
            .suspects
            .iter()
            .filter(|s| s.part == "C7")
            .map(|s| s.probability)
            .sum::<f64>()
            < 0.1,
        "{:?}",
        firsts(&sound)
    );
    let half = first("B1 30 ac\nB2 3.6 ac\n");
    let is_half = |s: &&Suspect| (s.part == "V3" && s.class == Class::Open) || s.part == "C6";
    let share: f64 = half
        .suspects
        .iter()
        .filter(is_half)
        .map(|s| s.probability)
        .sum();
    assert!(share > 0.8, "{:?}", firsts(&half));
    let explained = half
        .suspects
        .first()
        .map(|s| s.explains.clone())
        .unwrap_or_default();
    assert!(
        explained
            .iter()
            .any(|e| e.unit == "V ac" && e.point == "B1"),
        "{explained:#?}"
    );
}

/// Heaters that are low with everything else say mains or their transformer; heaters that are right say
/// that it is not those.
#[test]
fn heater_volts_tell_the_mains_from_a_rail() {
    let low = "readings as found\nmeter 10M 0.5%\nB1 275\nB2 274\n";
    let mains = |more: &str| {
        let found = of(SUPPLIED, &format!("{low}{more}"));
        let of = found.suspects.iter().filter(|s| s.part == "T1");
        let share: f64 = of.map(|s| s.probability).sum();
        (share, found)
    };
    let (without, _) = mains("");
    let (right, found) = mains("T1.heater1 to T1.heater2 6.40 ac\n");
    let (wrong, other) = mains("T1.heater1 to T1.heater2 5.70 ac\n");
    assert!(
        right < 0.3 * without,
        "{right} {without} {:?}",
        firsts(&found)
    );
    assert!(
        wrong > 0.5 && wrong > without,
        "{wrong} {without} {:?}",
        firsts(&other)
    );
}

/// Ripple without a traced supply is not weighed, and says why; heaters count beside a signal, too.
#[test]
fn volts_ac_that_nothing_traced_makes_are_not_weighed() {
    let found = of(
        STAGE,
        "readings as found\nmeter 10M 0.5%\nB1 300\nB1 2.1 ac\n",
    );
    assert_eq!(found.used, 1);
    assert!(
        found.unused.iter().any(|u| u.why.contains("rectifier")),
        "{:#?}",
        found.unused
    );
    let jack = format!("{SUPPLIED}J1 jack\nJ1.tip - V1.2\nJ1.sleeve - ground\n");
    let found = of(
        &jack,
        "readings driven\nmeter 10M 0.5%\nsignal J1 0.02 1000\nT1.heater1 to T1.heater2 6.3 ac\nV1.1 0.6 ac\n",
    );
    assert_eq!(
        (found.used, found.unused.len()),
        (2, 0),
        "{:#?}",
        found.unused
    );
}

/// With nothing but a low rail read, ripple and heaters are among what is proposed.
#[test]
fn ripple_and_heaters_are_proposed() {
    let circuit = amp(SUPPLIED, "readings as found\nmeter 10M 0.5%\nB1 320\n");
    let anatomy = wiring::roles::anatomy(&circuit);
    let tolerances = Tolerances::standard().expect("the table");
    let library = Library::built_in();
    let evidence = evidence::Evidence::of(&circuit, library, &anatomy, &tolerances);
    let wanted = wanted::Wanted::of(&circuit, library, &anatomy, &tolerances, &evidence, &[]);
    let ac: Vec<&str> = wanted
        .candidates
        .iter()
        .filter(|c| c.sort == scene::Sort::Mains)
        .map(|c| c.probe.as_str())
        .collect();
    assert!(ac.contains(&"B1") && ac.contains(&"B2"), "{ac:?}");
    // one end of the heaters is on ground, so the other is read
    assert!(ac.contains(&"V1.4"), "{ac:?}");
}

/// A phase-shift oscillator on a steady supply: three sections of 20n and 220k, as textbooks have it.
const TREMOLO: &str = "V4 12AX7\nPS1 supply 300 V 10 ohm\nB1 - +PS1 - ground\nB1 - R1 220k 5% film - V4.1\n\
    V4.3 - R2 2k7 5% film - ground\nV4.3 - +C1 25u 25V electrolytic - ground\nV4.1 - C2 20n film - x\nx - R3 220k 5% film - ground\n\
    x - C3 10n film - y\ny - R4 1M 5% film - ground\ny - C4 10n film - V4.2\nV4.2 - R5 1M 5% film - ground\n";

/// A tremolo that stands still while its volts are right has lost a bypass, a coupling or its gain; one
/// that runs at its pace clears them (trade rows `no_tremolo` of the dictionary; no source beyond).
#[test]
fn whether_the_tremolo_runs_is_evidence() {
    let at_rest = of(TREMOLO, "readings as found\nmeter 10M 0.5%\nB1 300\n");
    let plain = "readings as found\nmeter 10M 0.5%\nB1 300\nV4.1 158\nV4.3 1.75\n";
    let with = |pace: &str| of(TREMOLO, &format!("{plain}V4.1 {pace}\n"));
    let stops = |found: &Suspects| -> f64 {
        let ladder = ["C1", "C2", "C3", "C4", "R3", "R4", "R5"];
        let of = found
            .suspects
            .iter()
            .filter(|s| ladder.contains(&s.part.as_str()));
        of.filter(|s| matches!(s.class, Class::Open | Class::Low))
            .map(|s| s.probability)
            .sum()
    };
    let (still, runs) = (with("0 Hz"), with("4.6 Hz"));
    assert_eq!((still.used, runs.used), (4, 4), "{:#?}", still.unused);
    assert!(stops(&still) > 0.5, "{:?}", firsts(&still));
    assert!(
        still.healthy < 0.02,
        "{:?} {}",
        firsts(&still),
        still.healthy
    );
    assert!(
        runs.healthy > still.healthy && stops(&runs) < stops(&still),
        "{:?}",
        firsts(&runs)
    );
    let told = still
        .suspects
        .iter()
        .flat_map(|s| &s.explains)
        .find(|e| e.unit == "Hz");
    let sound = told.map_or(0.0, |e| e.sound);
    assert!((2.0..9.0).contains(&sound), "{sound}");
    assert!(told.is_some_and(|e| e.read == 0.0));
    // and it is among what is proposed
    assert!(
        at_rest.next.iter().any(|n| n.unit == "Hz"),
        "{:#?}",
        at_rest.next
    );
}

/// Swings at a point that is no oscillator's say nothing.
#[test]
fn swings_elsewhere_are_not_weighed() {
    let found = of(
        STAGE,
        "readings as found\nmeter 10M 0.5%\nB1 300\nV1.1 5 Hz\n",
    );
    assert_eq!(found.used, 1);
    assert!(
        found.unused.iter().any(|u| u.why.contains("no tremolo")),
        "{:#?}",
        found.unused
    );
}
