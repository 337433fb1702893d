//! Names of rows: one type a table, so that a reading is never looked up as a verdict.

use serde::{Deserialize, Serialize};
use std::fmt;

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident)*) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub i64);
        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.fmt(f)
            }
        }
        impl rusqlite::ToSql for $name {
            fn to_sql(&self) -> rusqlite::Result<rusqlite::types::ToSqlOutput<'_>> {
                Ok(self.0.into())
            }
        }
        impl rusqlite::types::FromSql for $name {
            fn column_result(v: rusqlite::types::ValueRef<'_>) -> rusqlite::types::FromSqlResult<Self> {
                v.as_i64().map(Self)
            }
        }
        impl From<$name> for rusqlite::types::Value {
            fn from(id: $name) -> Self {
                Self::Integer(id.0)
            }
        }
    )*};
}

ids! {
    /// A client.
    ClientId
    /// An amplifier.
    AmpId
    /// A job; its number is the number on the tag.
    JobId
    /// What the owner said.
    WordsId
    /// A date code.
    DateCodeId
    /// An instrument.
    InstrumentId
    /// A valve in its socket.
    ValveId
    /// A wiring.
    WiringId
    /// A revision of a wiring.
    RevisionId
    /// A set of conditions.
    BlockId
    /// A reading.
    ReadingId
    /// A plug in, a plug out, a discharge reading.
    PowerId
    /// An answer of a run sheet.
    ResultId
    /// A computed sheet that was kept.
    SheetId
    /// A verdict.
    VerdictId
    /// A work item.
    WorkId
    /// A stretch of time.
    HoursId
    /// A note.
    NoteId
    /// A photo.
    PhotoId
    /// A photo tied to a thing.
    TieId
    /// A recording.
    RecordingId
    /// A vendor.
    VendorId
    /// Something that a job, or the shelf, needs.
    NeedId
    /// An order.
    OrderId
    /// A line of an order.
    LineId
    /// Something that came, or a word about it.
    DeliveryId
    /// A sort of thing on the shelf.
    StockId
    /// Something put on the shelf or taken off.
    MoveId
    /// An item of an estimate.
    EstimateId
    /// The owner's answer to an item of an estimate.
    SaidId
    /// What an hour of a task costs.
    RateId
    /// A tax.
    TaxId
    /// Something charged that is not time.
    ChargeId
    /// Something that the owner paid.
    PaymentId
    /// An invoice.
    InvoiceId
    /// A line of an invoice.
    InvoiceLineId
    /// A journal entry.
    EntryId
}

/// The hash that names an attachment: SHA-256 in 64 lower-case hexadecimal digits.
pub type AttachmentHash = crate::attach::Hash;
