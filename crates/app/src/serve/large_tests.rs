//! Pages of a shop with thousands of jobs: the data base works no more for them than for those of
//! a new shop, and nothing is computed twice. Work is counted, not timed.

#[path = "../../tests/large/mod.rs"]
mod large;

use super::access::Access;
use super::ask::{Ask, Fields};
use super::pages::{
    bench, chart, comeback, estimate, find, hand_over, intake, invoice, job, journal, kin, listen,
    new, parts, photos, recordings, report, run_sheet, set_up, settings, suspects, tracing, work,
};
use super::run::Step;
use super::site::Site;
use super::warm;
use shop::{At, JobId, Shop};

type Show = Box<dyn Fn(&Site, &Ask) -> super::fail::Answer>;

/// Pages by name. The job is the first of the open ones.
fn pages() -> Vec<(&'static str, Show)> {
    fn of_job(page: fn(&Site, &Ask, JobId, &Fields) -> super::fail::Answer) -> Show {
        Box::new(move |s, a| page(s, a, JobId(1), &Fields::default()))
    }
    fn of_step(step: Step) -> Show {
        Box::new(move |s, a| run_sheet::show(s, a, JobId(1), step, &Fields::default()))
    }
    fn of_shop(page: fn(&Site, &Ask, &Fields) -> super::fail::Answer) -> Show {
        Box::new(move |s, a| page(s, a, &Fields::default()))
    }
    vec![
        ("bench", of_shop(bench::show)),
        ("settings", of_shop(settings::show)),
        ("job", of_job(job::show)),
        ("intake", of_job(intake::show)),
        ("inspection", of_step(Step::Inspection)),
        ("cold", of_step(Step::Cold)),
        ("power-up", of_step(Step::PowerUp)),
        ("tracing", of_job(tracing::show)),
        ("kin", of_job(kin::show)),
        ("chart", of_job(chart::show)),
        ("suspects", of_job(suspects::show)),
        ("parts", of_job(parts::show)),
        ("work", of_job(work::show)),
        ("set-up", of_job(set_up::show)),
        ("safety", of_step(Step::Safety)),
        ("play-test", of_step(Step::PlayTest)),
        ("hand-over", of_job(hand_over::show)),
        ("report", of_job(report::show)),
        ("comeback", of_job(comeback::show)),
        ("estimate", of_job(estimate::show)),
        ("invoice", of_job(invoice::show)),
        ("journal", of_job(journal::show)),
        ("photos", of_job(photos::show)),
        ("recordings", of_job(recordings::show)),
        ("listen", of_job(listen::show)),
    ]
}

fn site(folder: &std::path::Path, jobs: usize) -> Site {
    let shop = Shop::open(folder, At(large::MORNING)).unwrap();
    large::fill(&shop, jobs);
    Site::new(shop, Access::new(None), Some(At(large::MORNING)))
}

fn ask() -> Ask {
    Ask {
        bench: "Desk".to_owned(),
        now: At(large::MORNING),
        light: String::new(),
        letters: true,
        desk: true,
        path: "/".to_owned(),
    }
}

/// Steps of the data base's machine for a page.
fn steps(site: &Site, page: &Show) -> u64 {
    let before = site.shop.worked();
    assert!(page(site, &ask()).is_ok());
    site.shop.worked() - before
}

#[test]
fn a_page_costs_no_more_in_a_large_shop() {
    const JOBS: usize = 2_000;
    let folder = tempfile::tempdir().unwrap();
    let small = site(&folder.path().join("small"), large::OPEN);
    let large = site(&folder.path().join("large"), JOBS);
    let readings = large.shop.read(|r| r.count_readings()).unwrap();
    assert!(readings >= 49_900, "{readings}");
    for (name, page) in pages() {
        let (few, many) = (steps(&small, &page), steps(&large, &page));
        // deeper trees of the indexes only; the clients that can be blanked are all on the settings
        let most = few + few / 4 + if name == "settings" { 150_000 } else { 1_000 };
        assert!(many <= most, "{name}: {few} steps became {many}");
    }
    // these two look at every job there is, once
    for (name, page, most) in [
        (
            "find",
            find::show as fn(&Site, &Ask, &Fields) -> super::fail::Answer,
            200_000,
        ),
        ("new", new::show, 20_000),
    ] {
        let page: Show = Box::new(move |s, a| page(s, a, &Fields::default()));
        let many = steps(&large, &page);
        assert!(many <= most, "{name}: {many} steps");
    }
}

#[test]
fn nothing_is_computed_twice_and_nothing_at_all_after_the_worker_was_there() {
    let folder = tempfile::tempdir().unwrap();
    let site = site(folder.path(), large::OPEN);
    for n in 1..=large::OPEN {
        warm::one(&site, JobId(n as i64)).unwrap();
    }
    let made = site.kept.made();
    // one chart for each open job, and no circuit read twice
    assert_eq!(made[1], large::OPEN, "{made:?}");
    for _ in 0..2 {
        for (name, page) in pages() {
            assert!(page(&site, &ask()).is_ok(), "{name}");
        }
    }
    let after = site.kept.made();
    assert_eq!(after[1..], made[1..], "charts and sheets");
    // the tracing page reads the wiring by itself, without the readings
    assert!(after[0] <= made[0] + 1, "{made:?}, {after:?}");
}
