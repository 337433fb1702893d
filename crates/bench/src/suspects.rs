//! Suspects: which part is at fault, given everything that was read.
//!
//! Each part of the wiring with each fault of the dictionary that fits its role is a hypothesis,
//! as are a sound amplifier and something that nobody listed. A hypothesis says what every
//! reading should be, with the meter in the circuit and with the spread of sound parts around the
//! faulty one; Bayes' rule says how likely each is. Readings under several conditions count at
//! once: a resistor is as far from its marking in each of them.
//!
//! Live volts, ohms with the power off, volts of a signal, and volts AC that the mains put there
//! (heaters, windings, ripple), and the pace of a tremolo are used; what cannot be is listed with its reason. A single fault is assumed. Priors and sizes are guesses of the trade
//! ([`crate::faults`]), so probabilities are to be read as an order of search.

mod answer;
mod causes;
mod edit;
mod evidence;
mod hypothesis;
mod likelihood;
mod next;
mod pairs;
mod rank;
mod scene;
mod spread;
mod strain;
#[cfg(test)]
mod tests;
mod wanted;

use crate::faults::{Class, Faults, Sort};
use crate::tolerance::Tolerances;
use serde::Serialize;
use wiring::circuit::Circuit;
use wiring::sheet::Library;

/// What is known of the fault.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Suspects {
    /// Part and class, most likely first; the last ones are left out, one in a thousand all together.
    pub suspects: Vec<Suspect>,
    /// Probability that nothing is wrong.
    pub healthy: f64,
    /// Probability of something that is not in the dictionary.
    pub unlisted: f64,
    /// Probability of the faults, all together, that would move none of these readings.
    pub unseen: f64,
    /// Readings to take next, the most telling for its effort first.
    pub next: Vec<Next>,
    /// Whether to go on reading.
    pub probing: Probing,
    /// Suspects, by their place in the list, that these readings do not tell apart.
    pub groups: Vec<Vec<usize>>,
    /// Two faults at once, the likeliest first, where that was asked; each with its probability
    /// among single faults and pairs together.
    pub pairs: Vec<Pair>,
    /// How many pairs of faults, each at a size, were looked at.
    pub pairs_weighed: usize,
    /// Faults that no meter on the circuit shows, which what was heard or seen points to.
    pub by_ear: Vec<ByEar>,
    /// How many readings were used.
    pub used: usize,
    /// How many circuits were solved for it.
    pub solved: usize,
    /// Readings that were not used, each with the reason.
    pub unused: Vec<Unused>,
    /// What else is worth knowing.
    pub notes: Vec<String>,
}

/// One suspect.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Suspect {
    /// The part; a section of a valve by its letter.
    pub part: String,
    /// The dictionary's row.
    pub fault: String,
    /// Its class.
    pub class: Class,
    /// Given the readings.
    pub probability: f64,
    /// The most likely size, in `measure`; none where the fault has no size.
    pub severity: Option<f64>,
    /// What the size is: `times`, `ohm` or `A`.
    pub measure: &'static str,
    /// The fault in words.
    pub words: String,
    /// How to make sure.
    pub confirm: String,
    /// Readings that a sound amplifier does not explain and this suspect does, and what they would be.
    pub explains: Vec<Explained>,
    /// Readings that this suspect does not explain.
    pub against: Vec<Explained>,
    /// What it would do to other parts: a fuse that blows, a plate that glows, a resistor that
    /// burns. Then its volts stand for moments only.
    pub strain: Vec<String>,
}

/// Two faults at once.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pair {
    /// Given the readings, among single faults and pairs.
    pub probability: f64,
    /// The two.
    pub both: [Partner; 2],
}

/// One of two faults.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Partner {
    /// The part; a section of a valve by its letter.
    pub part: String,
    /// Its class.
    pub class: Class,
    /// The fault in words.
    pub words: String,
    /// The most likely size, in `measure`; none where the fault has no size.
    pub severity: Option<f64>,
    /// What the size is: `times`, `ohm` or `A`.
    pub measure: &'static str,
}

/// A reading beside what a suspect makes of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Explained {
    /// Where, as typed.
    pub point: String,
    /// The readings block.
    pub block: String,
    /// What was read.
    pub read: f64,
    /// What a sound amplifier would show.
    pub sound: f64,
    /// What this suspect would show.
    pub expected: f64,
    /// From here to `high` 95 % of amplifiers with this fault would read.
    pub low: f64,
    /// See `low`.
    pub high: f64,
    /// `V`, `ohm`, `V ac` or `Hz`.
    pub unit: &'static str,
}

/// A reading to take next.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Next {
    /// Where, as one would type it.
    pub probe: String,
    /// Under which conditions.
    pub condition: String,
    /// What is said anew for it beside the conditions of the last readings under power, line by
    /// line as a readings block has it; nothing where those stay as they are.
    pub settings: Vec<String>,
    /// What it would tell about which suspect it is, bits.
    pub gain_bits: f64,
    /// Effort, 1 for a probe under power.
    pub effort: f64,
    /// `V`, `ohm`, `V ac`, `Hz`; nothing where a part itself is tried.
    pub unit: &'static str,
    /// Is the amplifier under power for it?
    pub live: bool,
    /// Under power: steady volts of a sound amplifier there, without sign; those under a reading of
    /// volts AC, too.
    pub stands_at: f64,
    /// What the likeliest suspects would show there.
    pub would: Vec<Would>,
    /// What would come after it, where two readings ahead were asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub then: Option<Then>,
}

impl Next {
    /// Does a generator drive the amplifier for it?
    #[must_use]
    pub fn has_signal(&self) -> bool {
        self.settings.iter().any(|s| s.starts_with("signal "))
    }
}

/// The reading after the next, over all that the next may show.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Then {
    /// The likeliest second reading.
    pub probe: String,
    /// Under which conditions.
    pub condition: String,
    /// What the second reading, whichever it is, would tell on the average, bits.
    pub gain_bits: f64,
    /// Its effort, on the average.
    pub effort: f64,
}

/// What one suspect would show at a reading to come.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Would {
    /// Part and class, or `nothing wrong`.
    pub suspect: String,
    /// In the reading's unit; 20 Mohm stands for over range.
    pub value: f64,
}

/// Whether another reading is worth its effort.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Probing {
    /// It is.
    #[default]
    GoOn,
    /// One part, whatever is wrong with it, or nothing at all is sure enough: confirm it.
    SureEnough,
    /// No reading that may be proposed would tell more.
    NothingHelps,
}

/// A fault that is found by ear or eye.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ByEar {
    /// The dictionary's row.
    pub fault: String,
    /// The sort of part.
    pub on: Sort,
    /// The fault in words.
    pub words: String,
    /// How to make sure.
    pub confirm: String,
}

/// A reading that says nothing here.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Unused {
    /// Where, as typed.
    pub point: String,
    /// Why.
    pub why: String,
}

/// What is asked, beside the wiring and its readings.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SuspectsRequest {
    /// What was heard or seen, besides what the readings say.
    pub told: Vec<String>,
    /// Look for two faults at once, too.
    pub pairs: bool,
    /// Weigh each reading to come together with the one after it.
    pub two_ahead: bool,
    /// Do not look for the next reading.
    pub ranked_only: bool,
}

/// The suspects of an amplifier, from all its readings blocks.
///
/// Total: without readings the answer is the priors, and says so.
#[must_use]
pub fn suspects(circuit: &Circuit, library: &Library, request: &SuspectsRequest) -> Suspects {
    match (Faults::standard(), Tolerances::standard()) {
        (Ok(faults), Ok(tolerances)) => {
            suspects_with(circuit, library, request, &faults, &tolerances)
        }
        (Err(damaged), _) => failed(damaged.to_string()),
        (_, Err(damaged)) => failed(damaged.to_string()),
    }
}

/// [`suspects`] with a bench's own dictionary and tolerances.
#[must_use]
pub fn suspects_with(
    circuit: &Circuit,
    library: &Library,
    request: &SuspectsRequest,
    faults: &Faults,
    tolerances: &Tolerances,
) -> Suspects {
    suspects_while(circuit, library, request, faults, tolerances, &|_, _| ())
}

/// [`suspects_with`]; `watch` is told, from any thread, how many of how many pairs of faults are solved.
#[must_use]
pub fn suspects_while(
    circuit: &Circuit,
    library: &Library,
    request: &SuspectsRequest,
    faults: &Faults,
    tolerances: &Tolerances,
    watch: &(dyn Fn(usize, usize) + Sync),
) -> Suspects {
    let anatomy = wiring::roles::anatomy(circuit);
    let mut evidence = evidence::Evidence::of(circuit, library, &anatomy, tolerances);
    evidence.told.extend(request.told.iter().cloned());
    let mut out = Suspects {
        used: evidence.seen.len(),
        unused: evidence.unused.clone(),
        by_ear: answer::by_ear(faults, &evidence.told),
        ..Suspects::default()
    };
    let Some(ranking) = rank::rank(circuit, &anatomy, faults, &mut evidence, request.pairs) else {
        out.unlisted = 1.0;
        out.probing = Probing::NothingHelps;
        out.notes.clone_from(&evidence.notes);
        out.notes.push(
            "a sound amplifier could not be solved under these conditions, so no suspect is weighed: look at what `check` says is open".to_owned(),
        );
        return out;
    };
    if ranking.pieces.is_empty() && evidence.seen.is_empty() {
        out.unlisted = 1.0;
        out.probing = Probing::NothingHelps;
        out.notes = vec![
            "nothing can be weighed yet: trace a stage and what feeds it, and add what your meter says".to_owned(),
        ];
        return out;
    }
    if request.pairs && !evidence.seen.is_empty() {
        (out.pairs, out.pairs_weighed) = pairs::pairs(circuit, &evidence, &ranking, faults, watch);
    }
    let mut rows = answer::merge(&ranking, faults);
    answer::explain(&evidence, &ranking, &mut rows);
    answer::strain(circuit, library, &evidence, &ranking, &mut rows);
    if !evidence.seen.is_empty() {
        out.groups = answer::groups(&rows);
    }
    out.notes = answer::notes(&evidence, &ranking, &rows);
    out.healthy = ranking.healthy;
    out.unlisted = ranking.unlisted;
    out.unseen = ranking.unseen;
    let solved = |e: &evidence::Evidence| e.solved.load(std::sync::atomic::Ordering::Relaxed);
    out.solved = solved(&evidence);
    if !request.ranked_only {
        let suspected = wanted::gassy_or_fed(circuit, &ranking);
        let wanted = wanted::Wanted::of(
            circuit, library, &anatomy, tolerances, &evidence, &suspected,
        );
        (out.next, out.probing) =
            next::next(circuit, &evidence, &ranking, &wanted, request.two_ahead);
        out.solved += solved(&wanted.evidence);
    }
    out.suspects = rows.into_iter().map(|t| t.suspect).collect();
    out
}

fn failed(note: String) -> Suspects {
    Suspects {
        notes: vec![note],
        ..Suspects::default()
    }
}
