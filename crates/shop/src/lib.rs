//! The record of one bench: what came in, what was found, read, decided and done, by whom and when.
//!
//! One folder: a SQLite file and attachments named by the hash of their content. Readings,
//! verdicts and results are never overwritten; a correction is a new row that names the old
//! one, and the data base itself refuses anything else. Every change stands in a journal with
//! its time and the name of the bench; undoing is a new entry. Personal data can be blanked
//! without touching what was measured.
//!
//! Times come in as arguments ([`Stamp`]). Knows no circuits: wirings,
//! points and values are texts here, exactly as typed. What it does sum up are parts and money,
//! in whole numbers.

mod amps;
mod archive;
mod attach;
mod backup;
mod bill;
mod change;
mod charges;
mod error;
mod estimate;
mod hours;
mod id;
mod instruments;
mod intake;
mod invoices;
mod jobs;
mod journal;
mod layout;
mod merge;
mod needs;
mod notes;
mod open;
mod orders;
mod parts;
mod people;
mod photos;
mod power;
mod readings;
mod results;
mod settings;
mod stamp;
mod steps;
mod stock;
pub mod sums;
mod undo;
mod vendors;
mod wirings;
mod work;

pub use amps::{Amp, AmpFields};
pub use archive::{Archived, TakenIn, archived, import_shop};
pub use attach::{Attachment, Hash};
pub use backup::{Backup, Report, back_up, restore, verify};
pub use bill::{Bill, BillLine, Billed};
pub use charges::{Charge, ChargeFields, ChargeSort, Payment, PaymentFields, Rate, Tax};
pub use error::ShopError;
pub use estimate::{EstimateFields, EstimateItem, EstimateSort, OwnerSaid};
pub use hours::Hours;
pub use id::{
    AmpId, AttachmentHash, BlockId, ChargeId, ClientId, DateCodeId, DeliveryId, EntryId,
    EstimateId, HoursId, InstrumentId, InvoiceId, InvoiceLineId, JobId, LineId, MoveId, NeedId,
    NoteId, OrderId, PaymentId, PhotoId, PowerId, RateId, ReadingId, RecordingId, ResultId,
    RevisionId, SaidId, SheetId, StockId, TaxId, TieId, ValveId, VendorId, VerdictId, WiringId,
    WordsId, WorkId,
};
pub use instruments::{Instrument, InstrumentFields};
pub use intake::{
    Answer, Authorisation, AuthorisationFields, DateCode, OwnerWords, Untouched, ValveFields,
    ValveFitted,
};
pub use invoices::{Invoice, InvoiceFields, InvoiceLine};
pub use jobs::{Counts, Found, Job, JobFields, WaitsFor};
pub use journal::Entry;
pub use merge::{Clash, Compared, Merged, Piece, difference, merge};
pub use needs::{Need, NeedFields, Unit};
pub use notes::Note;
pub use open::{Reader, Shop, Write};
pub use orders::{Came, Delivery, DeliveryFields, LineFields, Order, OrderFields, OrderLine};
pub use parts::{PartState, PartStateFields, State, Verdict, VerdictGiven};
pub use people::{Client, ClientFields};
pub use photos::{NewPhoto, Photo, Recording, Tie, TieKind};
pub use power::{Power, PowerEvent};
pub use readings::{Block, NewReading, Reading, ReadingState};
pub use results::{Outcome, ResultFields, ResultGiven, SavedSheet};
pub use settings::Settings;
pub use stamp::{At, Stamp};
pub use steps::{StepMark, StepState};
pub use stock::{StockFields, StockItem};
pub use undo::Undone;
pub use vendors::{Vendor, VendorFields};
pub use wirings::{Revision, Saved, Wiring, WiringState};
pub use work::{WorkFields, WorkItem, WorkState};
