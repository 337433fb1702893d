//! `demo`: three traced amplifiers in a folder to play with, the chart of one of them, where its
//! trouble is, and a shop with five jobs, served until it is stopped.

use crate::amp::{self, Amp};
use crate::arguments::{Demo, Serve};
use crate::caution;
use crate::commands::{chart, suspects};
use crate::input::Text;
use crate::outcome::{Failure, Outcome};
use crate::serve::{self, Version};
use crate::table::{hanging, paragraph};
use crate::{pdf_maker, picture};
use bench::chart::{Chart, ChartRequest};
use bench::suspects::{Suspects, SuspectsRequest};
use report::Paper;
use shop::{Shop, ShopError};
use std::fs;
use std::io::Write as _;
use std::path::Path;
use wiring::sheet::Library;

/// One example amplifier: its file name, wiring and readings.
struct Example {
    name: &'static str,
    wiring: &'static str,
    readings: &'static str,
}

/// The one that is shown whole stands first.
const EXAMPLES: [Example; 3] = [
    Example {
        name: "pip",
        wiring: include_str!("../../../../examples/pip.wiring"),
        readings: include_str!("../../../../examples/pip.readings"),
    },
    Example {
        name: "curlew",
        wiring: include_str!("../../../../examples/curlew.wiring"),
        readings: include_str!("../../../../examples/curlew.readings"),
    },
    Example {
        name: "turnstone",
        wiring: include_str!("../../../../examples/turnstone.wiring"),
        readings: include_str!("../../../../examples/turnstone.readings"),
    },
];

/// Runs `demo`.
pub(crate) fn run(given: &Demo) -> Result<Outcome, Failure> {
    let folder = write()?;
    let (shop, printed) = with_report(shop_in(&folder)?, &folder)?;
    let mut out = paragraph(
        "Three amplifiers of an invented maker, as traced and read on a bench, are in this folder:",
        "",
    );
    out.push_str(&format!("{}\n\n", folder.display()));
    for (index, example) in EXAMPLES.iter().enumerate() {
        let amp = load(example);
        let chart = bench::chart::chart(&amp.circuit, &amp.library, &ChartRequest::default());
        if index == 0 {
            out.push_str(&chart::text(&amp.circuit, &chart, false));
            out.push_str(&caution::foot());
            out.push_str(&finding(&chart));
            out.push_str("\nSuspects\n");
            out.push_str(&suspects::text(&amp.circuit, &sought(&amp), false));
            out.push_str("\nThe other two\n");
        } else {
            let told = format!(
                "{} {}",
                summary(&amp, &chart),
                suspects::short(&sought(&amp))
            );
            out.push_str(&hanging(&told, "- ", "  "));
        }
    }
    out.push_str(&printed);
    out.push_str(&next(&folder));
    if given.once {
        return Ok(Outcome::done(out));
    }
    out.push('\n');
    out.push_str(&paragraph(
        "Five jobs of these and other invented amplifiers, at different stages, stand in a shop beside them.",
        "",
    ));
    let mut screen = std::io::stdout().lock();
    // with nobody to read it, the pages are served all the same
    let _ = screen.write_all(out.as_bytes());
    drop(screen);
    serve::serve(
        shop,
        &Serve {
            shop: None,
            port: given.port,
            lan: false,
            passcode_file: None,
            at: None,
        },
        None,
    )
}

/// What the readings of an example say of its parts.
fn sought(amp: &Amp) -> Suspects {
    bench::suspects::suspects(&amp.circuit, &amp.library, &SuspectsRequest::default())
}

/// A shop with five jobs in the demo's folder.
fn shop_in(folder: &Path) -> Result<Shop, Failure> {
    let failed = |e: ShopError| Failure::outside(e.to_string(), e.remedy());
    let now = serve::now();
    let shop = Shop::open(&folder.join("shop"), now).map_err(failed)?;
    let texts = EXAMPLES.map(|e| serve::Texts {
        wiring: e.wiring,
        readings: e.readings,
    });
    serve::fill(&shop, now, texts).map_err(failed)?;
    Ok(shop)
}

/// The job that is ready to go home.
const FINISHED: i64 = 38;

/// Writes the report of the finished job into the folder: a page to print, and a PDF where the program for it is there.
fn with_report(shop: Shop, folder: &Path) -> Result<(Shop, String), Failure> {
    let made = serve::make(shop);
    let document = made
        .document(FINISHED, serve::now(), Version::Owner, Paper::A4)
        .map_err(|e| Failure::outside(e.to_string(), e.remedy()))?;
    let page = folder.join("report.html");
    picture::write(&page, report::whole(&document).as_bytes())?;
    let mut told = format!(
        "\nThe report of a finished job, to print from a browser\n{}\n",
        page.display()
    );
    if let Ok(pdf) = pdf_maker::pdf(&document) {
        let file = folder.join("report.pdf");
        picture::write(&file, &pdf)?;
        told.push_str(&format!("and as PDF\n{}\n", file.display()));
    }
    Ok((made.into_shop(), told))
}

fn load(example: &Example) -> Amp {
    let text = |name: String, text: &str| Text {
        name,
        text: text.to_owned(),
        original: text.to_owned(),
        slip: None,
    };
    amp::join(
        vec![
            text(format!("{}.wiring", example.name), example.wiring),
            text(format!("{}.readings", example.name), example.readings),
        ],
        Library::built_in().clone(),
    )
}

/// Writes the files into a new folder, which stays.
fn write() -> Result<std::path::PathBuf, Failure> {
    let failed = |e: std::io::Error| {
        Failure::outside(
            format!("The demo's folder could not be written: {e}."),
            "Make room, or set TMPDIR to a folder that may be written to.",
        )
    };
    let folder = tempfile::Builder::new()
        .prefix("tubewright-demo-")
        .tempdir()
        .map_err(failed)?;
    for example in &EXAMPLES {
        let path = |ending: &str| folder.path().join(format!("{}.{ending}", example.name));
        fs::write(path("wiring"), example.wiring).map_err(failed)?;
        fs::write(path("readings"), example.readings).map_err(failed)?;
    }
    Ok(folder.keep())
}

/// What the chart says, in one paragraph.
fn finding(chart: &Chart) -> String {
    let outside = chart::outside(chart);
    if outside.is_empty() {
        return "\nEvery reading is inside its band.\n".to_owned();
    }
    let names: Vec<&str> = outside.iter().map(|l| l.point.as_str()).collect();
    let mut text = format!(
        "Look here: {} of {} readings {} outside: {}.",
        names.len(),
        chart.points.iter().filter(|l| l.verdict.is_some()).count(),
        if names.len() == 1 { "is" } else { "are" },
        names.join(", ")
    );
    if let Some(trouble) = chart.trouble.first() {
        text.push(' ');
        text.push_str(trouble);
    }
    format!("\n{}", paragraph(&text, ""))
}

/// One amplifier in a sentence.
fn summary(amp: &Amp, chart: &Chart) -> String {
    let name = amp.circuit.heading.amp.as_deref().unwrap_or("An amplifier");
    let outside: Vec<&str> = chart::outside(chart)
        .iter()
        .map(|l| l.point.as_str())
        .collect();
    let judged = chart.points.iter().filter(|l| l.verdict.is_some()).count();
    let mut text = format!("{name}: {judged} readings, {} outside", outside.len());
    if !outside.is_empty() {
        text.push_str(&format!(" ({})", outside.join(", ")));
    }
    text.push('.');
    if let Some(trouble) = chart.trouble.first() {
        text.push(' ');
        text.push_str(trouble);
    }
    text
}

/// Commands to type next, each on a line of its own so that it can be copied.
fn next(folder: &Path) -> String {
    let mut out = format!("\nTry next\n  cd {}\n", folder.display());
    let beside = std::env::current_exe()
        .ok()
        .and_then(|exe| Some(exe.parent()?.display().to_string()));
    if let Some(beside) = beside {
        out.push_str(&format!("  PATH=\"$PATH:{beside}\"\n"));
    }
    for command in NEXT {
        out.push_str(&format!("  tubewright {command}\n"));
    }
    out
}

/// Arguments that show one thing each; they run in the demo's folder.
const NEXT: [&str; 7] = [
    "suspects curlew.wiring curlew.readings",
    "chart curlew.wiring curlew.readings --currents",
    "chart pip.wiring --mains 210 --without V2",
    "check turnstone.wiring",
    "format --check turnstone.wiring",
    "valves 6V6GT",
    "serve --shop shop",
];
