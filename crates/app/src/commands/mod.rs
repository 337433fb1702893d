//! One file a command.

pub(crate) mod backup;
pub(crate) mod bias;
pub(crate) mod bleeder;
pub(crate) mod chart;
pub(crate) mod check;
pub(crate) mod cold;
pub(crate) mod demo;
pub(crate) mod discharge;
pub(crate) mod draw;
pub(crate) mod fit;
pub(crate) mod format;
pub(crate) mod fuse;
pub(crate) mod heaters;
pub(crate) mod inspect;
pub(crate) mod lamp;
pub(crate) mod leakage;
pub(crate) mod powerup;
pub(crate) mod proof;
pub(crate) mod safety;
pub(crate) mod snippet;
pub(crate) mod speaker;
pub(crate) mod stress;
pub(crate) mod supply;
pub(crate) mod suspects;
pub(crate) mod valves;
pub(crate) mod voicing;
