//! What is taken down when an amp comes in: the owner's words, the interview, date codes, valves,
//! and what the owner allows.

use crate::change::{Card, Entries, maybe};
use crate::error::ShopError;
use crate::id::{DateCodeId, InstrumentId, JobId, ValveId, WordsId};
use crate::open::{Reader, Write};
use crate::stamp::At;
use rusqlite::{OptionalExtension as _, params};
use serde::{Deserialize, Serialize};

/// What the owner said, word for word.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OwnerWords {
    /// Which.
    pub id: WordsId,
    /// The words; empty when blanked.
    pub text: String,
    /// When.
    pub at: At,
    /// They were blanked.
    pub blanked: bool,
}

/// An answer of the interview.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Answer {
    /// Which question, by its stable name.
    pub question: String,
    /// The answer; empty when blanked.
    pub answer: String,
    /// When.
    pub at: At,
}

/// Has this part been in the amp since it was made?
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Untouched {
    /// Its solder says so.
    Yes,
    /// It was fitted later.
    No,
    /// Not told.
    #[default]
    Unsure,
}

impl Untouched {
    /// As stored.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Yes => "yes",
            Self::No => "no",
            Self::Unsure => "unsure",
        }
    }

    /// Of a stored word.
    #[must_use]
    pub fn of(word: &str) -> Self {
        match word {
            "yes" => Self::Yes,
            "no" => Self::No,
            _ => Self::Unsure,
        }
    }
}

/// A code that was found on a part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DateCode {
    /// Which.
    pub id: DateCodeId,
    /// What it stands on.
    pub found_on: String,
    /// The digits as printed.
    pub code: String,
    /// Has the part been there from the start?
    pub untouched: Untouched,
}

/// What the owner allows.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct AuthorisationFields {
    /// Who.
    pub who: String,
    /// By telephone, in person, by letter.
    pub how: String,
    /// What, in words.
    pub says: String,
    /// Up to how much, in minor units; none where no amount was named.
    pub ceiling_minor: Option<i64>,
    /// Of which currency (`EUR`).
    pub currency: String,
}

/// An authorisation, and when it was given.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Authorisation {
    /// What.
    pub fields: AuthorisationFields,
    /// When.
    pub at: At,
}

/// A valve in its socket.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct ValveFields {
    /// `V1`.
    pub socket: String,
    /// Type the socket is meant for.
    pub meant: String,
    /// Type that is in it.
    pub found: String,
    /// What is printed on it.
    pub print: String,
    /// Its date code.
    pub date_code: String,
    /// What a tester said.
    pub tester: String,
    /// Which tester.
    pub instrument: Option<InstrumentId>,
    /// A swap, a remark.
    pub note: String,
}

/// A valve as entered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ValveFitted {
    /// Which entry.
    pub id: ValveId,
    /// What.
    pub fields: ValveFields,
    /// When.
    pub at: At,
}

impl Reader<'_> {
    /// What the owner said, the first words first.
    pub fn owner_words(&self, job: JobId) -> Result<Vec<OwnerWords>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT id, text, at, blanked_at FROM owner_words w WHERE job = ?1 AND withdrawn = 0
             AND NOT EXISTS (SELECT 1 FROM owner_words n WHERE n.corrects = w.id) ORDER BY id",
        )?;
        let all = ask
            .query_map([job], |r| {
                Ok(OwnerWords {
                    id: r.get(0)?,
                    text: r.get(1)?,
                    at: r.get(2)?,
                    blanked: r.get::<_, Option<i64>>(3)?.is_some(),
                })
            })?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// The answers of the interview, each question's last one.
    pub fn answers(&self, job: JobId) -> Result<Vec<Answer>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT question, answer, at FROM answers w WHERE job = ?1 AND withdrawn = 0
             AND NOT EXISTS (SELECT 1 FROM answers n WHERE n.corrects = w.id) ORDER BY question, id",
        )?;
        let all = ask
            .query_map([job], |r| {
                Ok(Answer {
                    question: r.get(0)?,
                    answer: r.get(1)?,
                    at: r.get(2)?,
                })
            })?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// Date codes, in the order found.
    pub fn date_codes(&self, job: JobId) -> Result<Vec<DateCode>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT id, found_on, code, untouched FROM date_codes WHERE job = ?1 AND gone = 0 ORDER BY id",
        )?;
        let all = ask
            .query_map([job], |r| {
                Ok(DateCode {
                    id: r.get(0)?,
                    found_on: r.get(1)?,
                    code: r.get(2)?,
                    untouched: Untouched::of(&r.get::<_, String>(3)?),
                })
            })?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// What the owner allowed, the first first.
    pub fn authorisations(&self, job: JobId) -> Result<Vec<Authorisation>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT who, how, says, ceiling_minor, currency, at FROM authorisations w
             WHERE job = ?1 AND withdrawn = 0
             AND NOT EXISTS (SELECT 1 FROM authorisations n WHERE n.corrects = w.id) ORDER BY id",
        )?;
        let all = ask
            .query_map([job], |r| {
                Ok(Authorisation {
                    fields: AuthorisationFields {
                        who: r.get(0)?,
                        how: r.get(1)?,
                        says: r.get(2)?,
                        ceiling_minor: r.get(3)?,
                        currency: r.get(4)?,
                    },
                    at: r.get(5)?,
                })
            })?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// Valves, the last entry of each socket first in the order of sockets.
    pub fn valves_fitted(&self, job: JobId) -> Result<Vec<ValveFitted>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT id, socket, meant, found, print, date_code, tester, instrument, note, at
             FROM valves_fitted w WHERE job = ?1 AND withdrawn = 0
             AND NOT EXISTS (SELECT 1 FROM valves_fitted n WHERE n.corrects = w.id)
             ORDER BY length(socket), socket, id",
        )?;
        let all = ask
            .query_map([job], |r| {
                Ok(ValveFitted {
                    id: r.get(0)?,
                    fields: ValveFields {
                        socket: r.get(1)?,
                        meant: r.get(2)?,
                        found: r.get(3)?,
                        print: r.get(4)?,
                        date_code: r.get(5)?,
                        tester: r.get(6)?,
                        instrument: r.get(7)?,
                        note: r.get(8)?,
                    },
                    at: r.get(9)?,
                })
            })?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }
}

impl Write<'_> {
    /// What the owner said, or a correction of what was taken down.
    pub fn take_down(
        &mut self,
        job: JobId,
        text: &str,
        corrects: Option<WordsId>,
    ) -> Result<WordsId, ShopError> {
        let entry = self.enter(Some(job), "owner's words")?;
        let columns = [("job", job.into()), ("text", text.to_owned().into())];
        Ok(WordsId(self.append(
            entry,
            Entries::OwnerWords,
            &columns,
            corrects.map(|c| c.0),
        )?))
    }

    /// An answer of the interview; the same answer again writes nothing.
    pub fn answer(&mut self, job: JobId, question: &str, answer: &str) -> Result<(), ShopError> {
        let last: Option<(i64, String)> = self
            .base
            .prepare_cached(
                "SELECT id, answer FROM answers w WHERE job = ?1 AND question = ?2 AND withdrawn = 0
                 AND NOT EXISTS (SELECT 1 FROM answers n WHERE n.corrects = w.id)",
            )?
            .query_row(params![job, question], |r| Ok((r.get(0)?, r.get(1)?)))
            .optional()?;
        if last.as_ref().map_or("", |(_, a)| a.as_str()) == answer {
            return Ok(());
        }
        let entry = self.enter(Some(job), &format!("interview: {question}"))?;
        let columns = [
            ("job", job.into()),
            ("question", question.to_owned().into()),
            ("answer", answer.to_owned().into()),
        ];
        self.append(entry, Entries::Answers, &columns, last.map(|(id, _)| id))?;
        Ok(())
    }

    /// A date code that was found.
    pub fn add_date_code(
        &mut self,
        job: JobId,
        found_on: &str,
        code: &str,
        untouched: Untouched,
    ) -> Result<DateCodeId, ShopError> {
        let entry = self.enter(Some(job), &format!("date code {code} on {found_on}"))?;
        let columns = [
            ("job", job.into()),
            ("found_on", found_on.to_owned().into()),
            ("code", code.to_owned().into()),
            ("untouched", untouched.word().to_owned().into()),
        ];
        Ok(DateCodeId(self.make(entry, Card::DateCodes, &columns)?))
    }

    /// Changes a date code, or takes it away.
    pub fn change_date_code(
        &mut self,
        job: JobId,
        id: DateCodeId,
        code: &str,
        untouched: Untouched,
        gone: bool,
    ) -> Result<(), ShopError> {
        let columns = [
            ("code", code.to_owned().into()),
            ("untouched", untouched.word().to_owned().into()),
            ("gone", i64::from(gone).into()),
        ];
        let says = format!("date code {code}");
        self.alter(Some(job), Card::DateCodes, id.0, &columns, None, &says)?;
        Ok(())
    }

    /// What the owner allows.
    pub fn authorise(&mut self, job: JobId, fields: &AuthorisationFields) -> Result<(), ShopError> {
        let entry = self.enter(Some(job), "authorisation")?;
        let columns = [
            ("job", job.into()),
            ("who", fields.who.clone().into()),
            ("how", fields.how.clone().into()),
            ("says", fields.says.clone().into()),
            ("ceiling_minor", maybe(fields.ceiling_minor)),
            ("currency", fields.currency.clone().into()),
        ];
        self.append(entry, Entries::Authorisations, &columns, None)?;
        Ok(())
    }

    /// A valve in its socket, or a correction of an entry.
    pub fn enter_valve(
        &mut self,
        job: JobId,
        fields: &ValveFields,
        corrects: Option<ValveId>,
    ) -> Result<ValveId, ShopError> {
        let entry = self.enter(
            Some(job),
            &format!("{}: {} in the socket", fields.socket, fields.found),
        )?;
        let columns = [
            ("job", job.into()),
            ("socket", fields.socket.clone().into()),
            ("meant", fields.meant.clone().into()),
            ("found", fields.found.clone().into()),
            ("print", fields.print.clone().into()),
            ("date_code", fields.date_code.clone().into()),
            ("tester", fields.tester.clone().into()),
            ("instrument", maybe(fields.instrument)),
            ("note", fields.note.clone().into()),
        ];
        Ok(ValveId(self.append(
            entry,
            Entries::ValvesFitted,
            &columns,
            corrects.map(|c| c.0),
        )?))
    }
}
