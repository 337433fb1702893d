//! `bias --plot` as a technician runs it.

mod common;

use common::run;

fn plot(arguments: &[&str]) -> (String, String) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("bias.svg");
    let name = path.to_str().expect("a path");
    let ran = run(&[arguments, &["--plot", name]].concat());
    ran.ends(0).calm();
    (
        ran.out.clone(),
        std::fs::read_to_string(&path).expect("the plot"),
    )
}

#[test]
fn the_examples_have_their_curves_point_limit_and_load() {
    for name in ["pip", "curlew", "turnstone"] {
        let (said, svg) = plot(&["bias", &format!("examples/{name}.wiring")]);
        assert!(said.contains("Plot written to"), "{said}");
        assert!(said.contains("load line is of"), "{said}");
        for wanted in [
            "role=\"img\"",
            " W limit<",
            "load line, ",
            "plate current, mA",
            "idles at",
        ] {
            assert!(svg.contains(wanted), "{name}: {wanted}");
        }
        for forbidden in ["<script", "style=", "NaN", "inf "] {
            assert!(!svg.contains(forbidden), "{name}: {forbidden}");
        }
        assert_eq!(svg, plot(&["bias", &format!("examples/{name}.wiring")]).1);
    }
}

#[test]
fn numbers_alone_are_enough() {
    let numbers = [
        "bias",
        "--valve",
        "EL84",
        "--plate",
        "310",
        "--cathode",
        "11.2",
        "--ohms",
        "130",
        "--shared",
        "2",
    ];
    let (said, svg) = plot(&numbers);
    assert!(said.contains("The load line is not drawn."), "{said}");
    assert!(said.contains("--load 8k"), "{said}");
    assert!(said.contains("No screen volts were typed"), "{said}");
    assert!(svg.contains("12 W limit") && !svg.contains("load line"));
    let (said, svg) = plot(
        &[
            &numbers[..],
            &["--screen", "305", "--load", "8k", "--stage", "pair"],
        ]
        .concat(),
    );
    assert!(said.contains("a quarter, 2000 ohm"), "{said}");
    assert!(svg.contains("load line, 8k plate to plate"));
    let (said, _) = plot(&[&numbers[..], &["--load", "8k"]].concat());
    assert!(said.contains("`--stage fixed`"), "{said}");
}

#[test]
fn what_cannot_be_plotted_says_what_to_type() {
    for (arguments, wanted) in [
        (
            &["bias", "--valve", "EL84", "--plot", "x.svg"][..],
            "--plate 310",
        ),
        (
            &[
                "bias",
                "--valve",
                "EL84",
                "--plate",
                "310",
                "--cathode",
                "11.2",
                "--ohms",
                "130",
                "--plot",
                "x.gif",
            ],
            ".svg",
        ),
        (
            &["bias", "examples/stage.wiring", "--plot", "x.svg"],
            "Not known",
        ),
        (
            &[
                "bias",
                "examples/pip.wiring",
                "--load",
                "8k",
                "--plot",
                "x.svg",
            ],
            "--load",
        ),
    ] {
        let ran = run(arguments);
        ran.ends(2);
        assert!(ran.err.contains(wanted), "{arguments:?}: {}", ran.err);
    }
}
