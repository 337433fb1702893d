//! Every address, and what may be sent there.

use super::ask::{Ask, Fields};
use super::assets;
use super::fail::{Answer, Fail};
use super::guard::{self, Gate};
use super::pages::{
    archive, bench, chart, comeback, conditions, driven, entrance, estimate, find, hand_over, help,
    intake, invoice, invoices, job, journal, keys, kin, listen, new, ordering, orders, orders_csv,
    paper, parts, photos, power, reading, recordings, report, revisions, run_sheet, set_up,
    settings, step, suspects, tracing, voicing, work,
};
use super::photo;
use super::run::Step;
use super::site::Site;
use axum::Router;
use axum::extract::multipart::MultipartError;
use axum::extract::{DefaultBodyLimit, Multipart, Path, Query, State};
use axum::http::header::RANGE;
use axum::http::{HeaderMap, StatusCode};
use axum::middleware;
use axum::response::{IntoResponse as _, Response};
use axum::routing::{MethodRouter, get, post};
use shop::JobId;
use std::sync::Arc;

type Shared = State<Arc<Site>>;
type Pairs = Query<Vec<(String, String)>>;

/// Largest form without files.
const LARGEST_FORM: usize = 1 << 20;
/// Largest upload in all.
const LARGEST_UPLOAD: usize = 200 << 20;

/// All pages behind their gate.
pub(crate) fn pages(site: Arc<Site>, gate: Gate) -> Router {
    let uploads = Router::new()
        .route("/job/{job}/photos", post(upload))
        .route("/job/{job}/kin", post(drawing))
        .route("/new/archive", post(from_archive))
        .route("/orders/csv", post(orders_in))
        .layer(DefaultBodyLimit::max(LARGEST_UPLOAD));
    let mut all = Router::new()
        .route("/", show(bench::show))
        .route("/in", show(entrance::show).merge(act(entrance::enter)))
        .route("/new", show(new::show).merge(act(new::take)))
        .route("/find", show(find::show))
        .route("/keys", show(keys::show))
        .route("/help", show(help::show))
        .route("/help/{chapter}", get(chapter))
        .route("/orders", show(orders::show).merge(act(ordering::change)))
        .route("/orders/line", act(ordering::came))
        .route("/orders.csv", show(orders_csv::out))
        .route(
            "/settings",
            show(settings::show).merge(act(settings::write)),
        )
        .route("/settings/device", act(settings::device))
        .route("/settings/money", act(settings::money))
        .route("/shop.zip", show(archive::of_shop))
        .route("/job/{job}/archive.zip", show_job(archive::of_job))
        .route("/invoices", show(invoices::show))
        .route("/invoices.csv", show(invoices::as_csv))
        .route("/invoice/{row}", get(one_invoice))
        .route("/assets/{*name}", get(asset))
        .route("/job/{job}", show_job(job::show))
        .route("/job/{job}/clock", act_job(job::clock))
        .route("/job/{job}/waits", act_job(step::waits))
        .route("/job/{job}/step", act_job(step::mark))
        .route("/job/{job}/power", act_job(power::say))
        .route(
            "/job/{job}/intake",
            show_job(intake::show).merge(act_job(intake::write)),
        )
        .route(
            "/job/{job}/tracing",
            show_job(tracing::show).merge(act_job(tracing::save)),
        )
        .route("/job/{job}/kin", show_job(kin::show))
        .route("/job/{job}/look", act_job(tracing::look))
        .route("/job/{job}/revisions", show_job(revisions::show))
        .route(
            "/job/{job}/revisions/{row}/clash",
            show_row(revisions::clash).merge(act_row(revisions::settle)),
        )
        .route("/job/{job}/chart", show_job(chart::show))
        .route("/job/{job}/judge", show_job(reading::while_typing))
        .route("/job/{job}/reading", act_job(reading::write))
        .route("/job/{job}/reading/withdraw", act_job(reading::withdraw))
        .route("/job/{job}/paper", show_job(paper::show))
        .route("/job/{job}/paper.css", show_job(paper::style))
        .route("/job/{job}/conditions", act_job(conditions::change))
        .route(
            "/job/{job}/suspects",
            show_job(suspects::show).merge(act_job(suspects::take)),
        )
        .route("/job/{job}/parts", show_job(parts::show))
        .route("/job/{job}/verdict", act_job(parts::give))
        .route("/job/{job}/part-state", act_job(parts::became))
        .route(
            "/job/{job}/work",
            show_job(work::show).merge(act_job(work::add)),
        )
        .route("/job/{job}/work/{row}", act_row(work::change))
        .route("/job/{job}/set-up", show_job(set_up::show))
        .route(
            "/job/{job}/driven",
            show_job(driven::show).merge(act_job(driven::press)),
        )
        .route("/job/{job}/driven/standing", show_job(driven::standing))
        .route("/job/{job}/voicing", show_job(voicing::show))
        .route("/job/{job}/curves", show_job(voicing::while_moved))
        .route("/job/{job}/answer", act_job(run_sheet::answer))
        .route(
            "/job/{job}/estimate",
            show_job(estimate::show).merge(act_job(estimate::change)),
        )
        .route(
            "/job/{job}/invoice",
            show_job(invoice::show).merge(act_job(invoice::change)),
        )
        .route(
            "/job/{job}/comeback",
            show_job(comeback::show).merge(act_job(comeback::write)),
        )
        .route("/job/{job}/hand-over", show_job(hand_over::show))
        .route("/job/{job}/close", act_job(hand_over::close))
        .route(
            "/job/{job}/report",
            show_job(report::show).merge(act_job(report::write)),
        )
        .route("/job/{job}/report/print", show_job(report::print))
        .route("/job/{job}/report.css", show_job(report::style))
        .route("/job/{job}/report.pdf", show_job(report::pdf))
        .route("/job/{job}/journal", show_job(journal::show))
        .route("/job/{job}/undo", act_job(journal::undo))
        .route("/job/{job}/note", act_job(journal::note))
        .route("/job/{job}/photos", show_job(photos::show))
        .route(
            "/job/{job}/photos/{row}",
            show_row(photos::one).merge(act_row(photos::change)),
        )
        .route(
            "/job/{job}/photos/{row}/small",
            get(|s: Shared, p: Path<(i64, i64)>| picture(s, p, false)),
        )
        .route(
            "/job/{job}/photos/{row}/large",
            get(|s: Shared, p: Path<(i64, i64)>| picture(s, p, true)),
        )
        .route("/job/{job}/photos/ties/{row}", act_row(photos::untie))
        .route("/job/{job}/recordings", show_job(recordings::show))
        .route("/job/{job}/recordings/{row}", get(recording))
        .route(
            "/job/{job}/listen",
            show_job(listen::show).merge(act_job(listen::start)),
        )
        .route("/job/{job}/listen/stop", act_job(listen::stop))
        .route("/job/{job}/listen/{row}", get(track));
    for step in [
        Step::Inspection,
        Step::Cold,
        Step::PowerUp,
        Step::Safety,
        Step::PlayTest,
    ] {
        let page = move |State(site): Shared, ask: Ask, Path(job): Path<i64>, Query(q): Pairs| {
            blocking(move || run_sheet::show(&site, &ask, JobId(job), step, &Fields::of(q)))
        };
        all = all.route(&format!("/job/{{job}}/{}", step.slug()), get(page));
    }
    all.layer(DefaultBodyLimit::max(LARGEST_FORM))
        .merge(uploads)
        .fallback(|| async { Fail::NoPage.into_response() })
        .layer(middleware::from_fn_with_state(gate, guard::guard))
        .with_state(site)
}

/// Work that waits for the disk or computes, off the threads that talk to browsers.
async fn blocking(work: impl FnOnce() -> Answer + Send + 'static) -> Response {
    match tokio::task::spawn_blocking(work).await {
        Ok(Ok(response)) => response,
        Ok(Err(fail)) => fail.into_response(),
        // a page that panicked takes nothing with it: every change is whole or not at all
        Err(_) => Fail::Inside.into_response(),
    }
}

fn show(page: fn(&Site, &Ask, &Fields) -> Answer) -> MethodRouter<Arc<Site>> {
    get(move |State(site): Shared, ask: Ask, Query(q): Pairs| {
        blocking(move || page(&site, &ask, &Fields::of(q)))
    })
}

fn act(page: fn(&Site, &Ask, &Fields) -> Answer) -> MethodRouter<Arc<Site>> {
    post(move |State(site): Shared, ask: Ask, fields: Fields| {
        blocking(move || page(&site, &ask, &fields))
    })
}

fn show_job(page: fn(&Site, &Ask, JobId, &Fields) -> Answer) -> MethodRouter<Arc<Site>> {
    get(
        move |State(site): Shared, ask: Ask, Path(job): Path<i64>, Query(q): Pairs| {
            blocking(move || page(&site, &ask, JobId(job), &Fields::of(q)))
        },
    )
}

fn act_job(page: fn(&Site, &Ask, JobId, &Fields) -> Answer) -> MethodRouter<Arc<Site>> {
    post(
        move |State(site): Shared, ask: Ask, Path(job): Path<i64>, fields: Fields| async move {
            let of = Arc::clone(&site);
            let answer = blocking(move || page(&site, &ask, JobId(job), &fields)).await;
            if answer.status().as_u16() < 400 {
                of.warm.changed(JobId(job));
            }
            answer
        },
    )
}

fn show_row(page: fn(&Site, &Ask, JobId, i64, &Fields) -> Answer) -> MethodRouter<Arc<Site>> {
    get(
        move |State(site): Shared,
              ask: Ask,
              Path((job, row)): Path<(i64, i64)>,
              Query(q): Pairs| {
            blocking(move || page(&site, &ask, JobId(job), row, &Fields::of(q)))
        },
    )
}

fn act_row(page: fn(&Site, &Ask, JobId, i64, &Fields) -> Answer) -> MethodRouter<Arc<Site>> {
    post(
        move |State(site): Shared, ask: Ask, Path((job, row)): Path<(i64, i64)>, fields: Fields| {
            blocking(move || page(&site, &ask, JobId(job), row, &fields))
        },
    )
}

async fn chapter(State(site): Shared, ask: Ask, Path(name): Path<String>) -> Response {
    blocking(move || help::chapter(&site, &ask, &name)).await
}

async fn one_invoice(State(site): Shared, ask: Ask, Path(row): Path<i64>) -> Response {
    blocking(move || invoices::one(&site, &ask, shop::InvoiceId(row))).await
}

async fn asset(Path(name): Path<String>, headers: HeaderMap) -> Response {
    assets::give(&name, &headers).unwrap_or_else(axum::response::IntoResponse::into_response)
}

async fn picture(State(site): Shared, Path((job, row)): Path<(i64, i64)>, large: bool) -> Response {
    blocking(move || photos::picture(&site, JobId(job), row, large)).await
}

async fn recording(
    State(site): Shared,
    Path((job, row)): Path<(i64, i64)>,
    headers: HeaderMap,
) -> Response {
    blocking(move || photos::recording(&site, JobId(job), row, headers.get(RANGE))).await
}

async fn track(
    State(site): Shared,
    Path((job, row)): Path<(i64, i64)>,
    headers: HeaderMap,
) -> Response {
    blocking(move || listen::track(&site, JobId(job), row, headers.get(RANGE))).await
}

async fn upload(State(site): Shared, ask: Ask, Path(job): Path<i64>, form: Multipart) -> Response {
    let (fields, files) = match taken(form, photo::largest).await {
        Ok(taken) => taken,
        Err(refused) => return refused,
    };
    blocking(move || photos::put(&site, &ask, JobId(job), &fields, files)).await
}

async fn drawing(State(site): Shared, ask: Ask, Path(job): Path<i64>, form: Multipart) -> Response {
    let (fields, files) = match taken(form, photo::largest).await {
        Ok(taken) => taken,
        Err(refused) => return refused,
    };
    let of = Arc::clone(&site);
    let answer = blocking(move || kin::put(&site, &ask, JobId(job), &fields, &files)).await;
    if answer.status().as_u16() < 400 {
        of.warm.changed(JobId(job));
    }
    answer
}

async fn orders_in(State(site): Shared, ask: Ask, form: Multipart) -> Response {
    let (_, files) = match taken(form, photo::largest).await {
        Ok(taken) => taken,
        Err(refused) => return refused,
    };
    blocking(move || orders_csv::take(&site, &ask, &files)).await
}

async fn from_archive(State(site): Shared, ask: Ask, form: Multipart) -> Response {
    let (_, files) = match taken(form, |_| LARGEST_UPLOAD).await {
        Ok(taken) => taken,
        Err(refused) => return refused,
    };
    blocking(move || archive::take(&site, &ask, &files)).await
}

/// Files and fields of one form, each file within its limit.
async fn taken(
    mut form: Multipart,
    largest: fn(&[u8]) -> usize,
) -> Result<(Fields, Vec<photos::Upload>), Response> {
    let mut pairs = Vec::new();
    let mut files = Vec::new();
    while let Some(part) = form.next_field().await.map_err(not_whole)? {
        let name = part.name().unwrap_or_default().to_owned();
        match part.file_name().map(str::to_owned) {
            Some(file) => {
                let content = part.bytes().await.map_err(not_whole)?;
                if content.len() > largest(&content) {
                    return Err(too_large());
                }
                if !content.is_empty() {
                    files.push(photos::Upload {
                        name: file,
                        content: content.into(),
                    });
                }
            }
            None => pairs.push((name, part.text().await.map_err(not_whole)?)),
        }
    }
    Ok((Fields::of(pairs), files))
}

fn too_large() -> Response {
    Fail::TooLarge(
        "The file is larger than is taken: 25 MB for a photo or a text, 190 MB for a recording, 200 MB for an archive.",
        "Send a smaller one. `tubewright hear` measures a recording of any size where it lies, and `tubewright import` takes an archive of any size.",
    )
    .into_response()
}

/// What was sent broke off, is no form, or is too large as a whole.
fn not_whole(error: MultipartError) -> Response {
    if error.status() == StatusCode::PAYLOAD_TOO_LARGE {
        return too_large();
    }
    let again = "Go back and send it again.";
    Fail::typed("What was sent did not arrive whole.", again).into_response()
}
