//! The keys of the data file of sheets, as they stand there.

use crate::sheet::types::{Base, Confidence, HeaterWay, Source, ValveKind};
use serde::Deserialize;
use std::collections::BTreeMap;
use toml::Spanned;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct File {
    #[serde(default)]
    pub(super) source: BTreeMap<String, Source>,
    #[serde(default)]
    pub(super) valve: Vec<Spanned<toml::Table>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawValve {
    pub(super) r#type: String,
    #[serde(default)]
    pub(super) aliases: Vec<String>,
    pub(super) like: Option<String>,
    pub(super) kind: Option<ValveKind>,
    pub(super) about: Option<String>,
    pub(super) base: Option<Base>,
    pub(super) basing: Option<String>,
    pub(super) pins: Option<BTreeMap<String, String>>,
    pub(super) pins_confidence: Option<Confidence>,
    pub(super) pins_source: Option<String>,
    pub(super) pins_note: Option<String>,
    pub(super) heater: Option<RawHeater>,
    #[serde(default)]
    pub(super) limits: Vec<toml::Table>,
    #[serde(default)]
    pub(super) capacitances: Vec<RawCapacitances>,
    pub(super) curves: Option<RawCurves>,
    pub(super) law: Option<RawLaws>,
    #[serde(default, rename = "static")]
    pub(super) static_rows: Vec<RawStatic>,
    #[serde(default)]
    pub(super) curve: Vec<RawPoint>,
    #[serde(default)]
    pub(super) stage: Vec<RawStage>,
    #[serde(default)]
    pub(super) drop: Vec<RawDrop>,
    #[serde(default)]
    pub(super) supply: Vec<RawSupply>,
}

#[derive(Deserialize)]
#[serde(untagged)]
pub(super) enum RawCurves {
    All(String),
    Each(BTreeMap<char, String>),
}

#[derive(Deserialize)]
#[serde(untagged)]
pub(super) enum RawLaws {
    One(toml::Table),
    Several(Vec<toml::Table>),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawHeater {
    pub(super) volts: Option<f64>,
    pub(super) amps: Option<f64>,
    pub(super) series: Option<HeaterWay>,
    pub(super) parallel: Option<HeaterWay>,
    pub(super) confidence: Confidence,
    pub(super) source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawCapacitances {
    pub(super) section: Option<char>,
    pub(super) grid_plate: Option<f64>,
    pub(super) grid_plate_most: Option<f64>,
    pub(super) grid_cathode: Option<f64>,
    pub(super) plate_cathode: Option<f64>,
    pub(super) confidence: Confidence,
    pub(super) source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawStatic {
    pub(super) section: Option<char>,
    #[serde(default)]
    pub(super) triode_connected: bool,
    pub(super) plate: f64,
    pub(super) screen: Option<f64>,
    pub(super) grid: Option<f64>,
    pub(super) cathode_ohms: Option<f64>,
    pub(super) plate_ma: Option<f64>,
    pub(super) screen_ma: Option<f64>,
    pub(super) cathode_ma: Option<f64>,
    pub(super) gm_us: Option<f64>,
    pub(super) rp: Option<f64>,
    pub(super) rp_least: Option<f64>,
    pub(super) mu: Option<f64>,
    pub(super) mu_screen: Option<f64>,
    pub(super) error_percent: Option<f64>,
    pub(super) note: Option<String>,
    #[serde(default)]
    pub(super) accept: RawAccept,
    pub(super) not_gated: Option<String>,
    pub(super) confidence: Confidence,
    pub(super) source: String,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct RawAccept {
    pub(super) plate: Option<f64>,
    pub(super) screen: Option<f64>,
    pub(super) gm: Option<f64>,
    pub(super) rp: Option<f64>,
    pub(super) mu: Option<f64>,
    pub(super) why: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawPoint {
    pub(super) grid: f64,
    pub(super) plate: f64,
    pub(super) plate_ma: f64,
    pub(super) confidence: Confidence,
    pub(super) source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawStage {
    pub(super) r#use: String,
    pub(super) class: Option<String>,
    pub(super) supply: Option<f64>,
    pub(super) screen_supply: Option<f64>,
    pub(super) plate: Option<f64>,
    pub(super) screen: Option<f64>,
    pub(super) grid: Option<f64>,
    pub(super) cathode_ohms: Option<f64>,
    pub(super) cathode_ohms_each: Option<f64>,
    #[serde(default)]
    pub(super) cathode_bypassed: bool,
    pub(super) screen_ohms: Option<f64>,
    pub(super) plate_ohms: Option<f64>,
    pub(super) next_grid_ohms: Option<f64>,
    pub(super) load_ohms: Option<f64>,
    pub(super) drive_peak: Option<f64>,
    pub(super) drive_peak_pair: Option<f64>,
    pub(super) drive_rms: Option<f64>,
    pub(super) plate_ma: Option<f64>,
    pub(super) plate_ma_full: Option<f64>,
    pub(super) screen_ma: Option<f64>,
    pub(super) screen_ma_full: Option<f64>,
    pub(super) cathode_ma: Option<f64>,
    pub(super) gain: Option<f64>,
    pub(super) output_rms: Option<f64>,
    pub(super) distortion_percent: Option<f64>,
    pub(super) watts: Option<f64>,
    pub(super) grid_drive_mw: Option<f64>,
    pub(super) note: Option<String>,
    pub(super) confidence: Confidence,
    pub(super) source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawDrop {
    pub(super) ma: f64,
    pub(super) volts: f64,
    pub(super) note: Option<String>,
    pub(super) confidence: Confidence,
    pub(super) source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawSupply {
    pub(super) ac_volts: f64,
    pub(super) reservoir_uf: Option<f64>,
    pub(super) source_ohms: Option<f64>,
    pub(super) choke_henries: Option<f64>,
    pub(super) output_ma: f64,
    pub(super) output_volts: f64,
    pub(super) hertz: f64,
    pub(super) confidence: Confidence,
    pub(super) source: String,
}
