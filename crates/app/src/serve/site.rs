//! What every page can reach: the record, the data sheets, what was worked out already.

use super::access::Access;
use super::pages::recordings::Measurings;
use super::plays::Plays;
use super::warm::Warm;
use super::work_out::Kept;
use shop::{At, Shop};
use wiring::sheet::Library;

/// The running server's shared state.
pub(crate) struct Site {
    /// The record.
    pub(crate) shop: Shop,
    /// Data sheets of valves.
    pub(crate) library: Library,
    /// Charts and circuits that were worked out.
    pub(crate) kept: Kept,
    /// Works out ahead what pages will want.
    pub(crate) warm: Warm,
    /// Amplifiers that are being played through.
    pub(crate) plays: Plays,
    /// Recordings that were measured.
    pub(crate) measured: Measurings,
    /// Devices that came in over the network.
    pub(crate) access: Access,
    /// The time, for tests and pictures that must repeat; none: the clock.
    pub(crate) fixed_now: Option<At>,
}

impl Site {
    /// Over an open shop, with nothing worked out yet.
    pub(crate) fn new(shop: Shop, access: Access, fixed_now: Option<At>) -> Self {
        Self {
            shop,
            library: Library::built_in().clone(),
            kept: Kept::default(),
            warm: Warm::default(),
            plays: Plays::default(),
            measured: Measurings::default(),
            access,
            fixed_now,
        }
    }

    /// The time of this request.
    pub(crate) fn now(&self) -> At {
        self.fixed_now.unwrap_or_else(super::clock::now)
    }
}
