//! The pages: a local web server over the record of one shop.
//!
//! Loopback by default. Every page is made here, whole, and works without script; a small script
//! of our own and one vendored library add what is live (verdict while typing, the drawing, keys).
//! Reading the clock and drawing random numbers happen here and in [`clock`] and [`access`] only.

mod access;
mod ask;
mod assets;
mod clock;
mod code_picture;
mod comeback;
mod dates;
mod demo_finished;
mod demo_orders;
mod demo_shop;
mod fail;
mod frame;
mod guard;
mod kept_kin;
#[cfg(test)]
mod large_tests;
mod long;
mod marks;
mod money;
mod pages;
mod part_words;
mod photo;
mod pins;
mod plays;
mod purse;
mod record;
mod report;
mod report_file;
mod router;
mod run;
mod sheets;
mod shelf;
mod site;
mod start;
mod state;
mod warm;
mod work_out;

pub(crate) use clock::now;
pub(crate) use demo_shop::{Texts, fill};
pub(crate) use pages::archive::{OWNER_KNOWN, OWNER_NEW};
pub(crate) use report_file::{Version, make};
pub(crate) use start::{refused, run, serve, usual_folder};
