//! Operating points of a valve as a spreadsheet: from its sheet, or read on the bench.
//!
//! The first row names the columns, in any order: those of a `static` row of a valve file, in the units a sheet prints
//! (volts, milliamperes, micromhos, ohms). A row that can't be understood is told with line and column, and the others
//! stay. What `tubewright valves TYPE --csv` prints is understood too. No text makes it panic.

use crate::diagnostic::{Diagnostic, Place, Severity};

mod cells;
mod column;
#[cfg(test)]
mod tests;

use cells::{Line, Lines, separator};
use column::{Column, number};

/// One operating point as typed. SI units, volts against the cathode.
#[derive(Debug, Clone, PartialEq)]
pub struct TypedRow {
    /// Where it stands.
    pub place: Place,
    /// The section it is for.
    pub section: Option<char>,
    /// Screen joined to the plate.
    pub triode_connected: bool,
    /// Plate volts.
    pub plate: Option<f64>,
    /// Screen volts.
    pub screen: Option<f64>,
    /// Grid volts.
    pub grid: Option<f64>,
    /// Cathode resistor that sets the grid volts.
    pub cathode_ohms: Option<f64>,
    /// Plate amperes.
    pub plate_amps: Option<f64>,
    /// Screen amperes.
    pub screen_amps: Option<f64>,
    /// Plate and screen amperes together.
    pub cathode_amps: Option<f64>,
    /// Mutual conductance, siemens.
    pub gm: Option<f64>,
    /// Plate resistance, ohms.
    pub plate_ohms: Option<f64>,
    /// Plate resistance printed as a least figure, ohms.
    pub plate_ohms_least: Option<f64>,
    /// Amplification factor.
    pub mu: Option<f64>,
    /// Amplification factor of grid 1 against grid 2.
    pub mu_screen: Option<f64>,
    /// Volts across a rectifier's plate.
    pub drop: Option<f64>,
    /// Standard uncertainty of its figures, as a fraction.
    pub uncertainty: Option<f64>,
    /// What is noted beside it.
    pub note: Option<String>,
}

/// A file of rows with everything that is wrong with it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RowFile {
    /// The rows that could be understood.
    pub rows: Vec<TypedRow>,
    /// What could not.
    pub diagnostics: Vec<Diagnostic>,
}

/// The columns by their names in the file.
pub const ROW_COLUMNS: [&str; 18] = [
    "section",
    "plate",
    "screen",
    "grid",
    "cathode",
    "cathode_ohms",
    "triode_connected",
    "plate_ma",
    "screen_ma",
    "cathode_ma",
    "gm_us",
    "rp",
    "rp_least",
    "mu",
    "mu_screen",
    "drop",
    "error_percent",
    "note",
];

/// Codes of the diagnostics that [`read_rows`] gives.
pub const ROW_CODES: [&str; 6] = [
    "rows-header",
    "rows-column",
    "rows-cell",
    "rows-point",
    "rows-current",
    "rows-quote",
];

/// Reads a spreadsheet of rows. `file` is the index that places carry.
///
/// Commas, semicolons or tabs between columns; a line that begins with `#` is a comment.
///
/// ```
/// let read = wiring::sheet::read_rows("plate,grid,plate_ma,rp\n250,-2,1.2,62k5\n", 0);
/// assert!(read.diagnostics.is_empty());
/// assert_eq!(read.rows[0].plate_amps, Some(1.2e-3));
/// assert_eq!(read.rows[0].plate_ohms, Some(62500.0));
/// ```
#[must_use]
pub fn read_rows(text: &str, file: usize) -> RowFile {
    let mut out = RowFile::default();
    let mut columns: Option<Columns> = None;
    for line in Lines::of(text, file) {
        if line.text.trim().is_empty() || line.text.trim_start().starts_with('#') {
            continue;
        }
        match &columns {
            None => {
                let separator = separator(line.text);
                match Columns::of(&line, separator, &mut out.diagnostics) {
                    Some(found) => columns = Some(found),
                    None => return out,
                }
            }
            Some(columns) => {
                if let Some(row) = columns.row(&line, &mut out.diagnostics) {
                    out.rows.push(row);
                }
            }
        }
    }
    if columns.is_none() {
        let place = Place {
            file,
            line: 1,
            column: 1,
            start: 0,
            end: 0,
        };
        out.diagnostics.push(no_header(place));
    }
    out
}

fn told(
    code: &'static str,
    severity: Severity,
    place: Place,
    message: String,
    advice: String,
) -> Diagnostic {
    Diagnostic {
        code,
        severity,
        place,
        message,
        advice,
        also: None,
    }
}

fn no_header(place: Place) -> Diagnostic {
    told(
        "rows-header",
        Severity::Error,
        place,
        "The first row does not name the columns of operating points.".to_owned(),
        "Begin with `plate,grid,plate_ma`, for a pentode `plate,screen,grid,plate_ma,screen_ma`, \
         for a rectifier `drop,plate_ma`."
            .to_owned(),
    )
}

/// Which cell of a row is which.
struct Columns {
    at: Vec<Option<(Column, f64)>>,
    separator: char,
}

impl Columns {
    fn of(line: &Line<'_>, separator: char, diagnostics: &mut Vec<Diagnostic>) -> Option<Self> {
        let (cells, _) = line.cells(separator);
        let mut at: Vec<Option<(Column, f64)>> = Vec::new();
        for cell in &cells {
            let found = Column::of(&cell.text);
            let place = line.place(cell.start, cell.end);
            let twice = found.is_some_and(|(c, _)| at.iter().flatten().any(|(o, _)| *o == c));
            if twice || (found.is_none() && !cell.text.is_empty()) {
                let what = if twice {
                    format!(
                        "The column `{}` is there twice; the second is not read.",
                        cell.text
                    )
                } else {
                    format!("The column `{}` is not read.", cell.text)
                };
                diagnostics.push(told(
                    "rows-column",
                    Severity::Warning,
                    place,
                    what,
                    format!("Columns are {}.", ROW_COLUMNS.join(", ")),
                ));
            }
            at.push(found.filter(|_| !twice));
        }
        let has = |c: Column| at.iter().flatten().any(|(o, _)| *o == c);
        let amps = has(Column::PlateAmps) || has(Column::CathodeAmps);
        if !(amps && (has(Column::Plate) || has(Column::Drop))) {
            // The strange headings are what is wrong with the header.
            diagnostics.clear();
            diagnostics.push(no_header(line.whole()));
            return None;
        }
        Some(Self { at, separator })
    }

    /// A row, or what is wrong with it.
    fn row(&self, line: &Line<'_>, diagnostics: &mut Vec<Diagnostic>) -> Option<TypedRow> {
        let (cells, open) = line.cells(self.separator);
        if open {
            diagnostics.push(told(
                "rows-quote",
                Severity::Error,
                line.whole(),
                "A quote in this row does not close.".to_owned(),
                "Close it; a quote mark inside a quoted cell is written twice.".to_owned(),
            ));
            return None;
        }
        if cells.iter().all(|c| c.text.is_empty()) {
            return None;
        }
        let before = diagnostics.len();
        if let Some(extra) = cells
            .iter()
            .skip(self.at.len())
            .find(|c| !c.text.is_empty())
        {
            diagnostics.push(told(
                "rows-cell",
                Severity::Error,
                line.place(extra.start, extra.end),
                "This row has more cells than the first row has columns.".to_owned(),
                "A number has a point, not a comma, or write semicolons between the columns."
                    .to_owned(),
            ));
            return None;
        }
        let mut row = TypedRow {
            place: line.whole(),
            section: None,
            triode_connected: false,
            plate: None,
            screen: None,
            grid: None,
            cathode_ohms: None,
            plate_amps: None,
            screen_amps: None,
            cathode_amps: None,
            gm: None,
            plate_ohms: None,
            plate_ohms_least: None,
            mu: None,
            mu_screen: None,
            drop: None,
            uncertainty: None,
            note: None,
        };
        let mut cathode = None;
        for (cell, column) in cells.iter().zip(&self.at) {
            let Some((column, factor)) = column else {
                continue;
            };
            if cell.text.is_empty() {
                continue;
            }
            if let Err((what, advice)) = row.take(*column, *factor, &cell.text, &mut cathode) {
                diagnostics.push(told(
                    "rows-cell",
                    Severity::Error,
                    line.place(cell.start, cell.end),
                    what,
                    advice,
                ));
            }
        }
        if diagnostics.len() > before {
            return None;
        }
        if let Some(cathode) = cathode {
            // Volts were read to ground.
            for volts in [&mut row.plate, &mut row.screen, &mut row.grid] {
                *volts = volts.map(|v| v - cathode);
            }
        }
        match row.odd() {
            None => Some(row),
            Some((code, what, advice)) => {
                diagnostics.push(told(
                    code,
                    Severity::Error,
                    line.whole(),
                    what.to_owned(),
                    advice.to_owned(),
                ));
                None
            }
        }
    }
}

impl TypedRow {
    /// Takes a cell.
    fn take(
        &mut self,
        column: Column,
        factor: f64,
        text: &str,
        cathode: &mut Option<f64>,
    ) -> Result<(), (String, String)> {
        match column {
            Column::Note => self.note = Some(text.to_owned()),
            Column::Section => {
                let letter = text.chars().next().filter(|_| text.chars().count() == 1);
                self.section = Some(letter.filter(char::is_ascii_lowercase).ok_or_else(|| {
                    (
                        format!("`{text}` is no section."),
                        "Write `a` or `b` of a twin, `t` or `p` of a triode-pentode.".to_owned(),
                    )
                })?);
            }
            Column::TriodeConnected => {
                self.triode_connected = match text.to_lowercase().as_str() {
                    "yes" | "true" | "x" | "1" => true,
                    "no" | "false" | "0" => false,
                    _ => {
                        return Err((
                            format!("`{text}` does not say whether the screen is on the plate."),
                            "Write yes or no.".to_owned(),
                        ));
                    }
                };
            }
            _ => {
                let value = number(column, factor, text)?;
                let slot = match column {
                    Column::Plate => &mut self.plate,
                    Column::Screen => &mut self.screen,
                    Column::Grid => &mut self.grid,
                    Column::CathodeOhms => &mut self.cathode_ohms,
                    Column::PlateAmps => &mut self.plate_amps,
                    Column::ScreenAmps => &mut self.screen_amps,
                    Column::CathodeAmps => &mut self.cathode_amps,
                    Column::Gm => &mut self.gm,
                    Column::PlateOhms => &mut self.plate_ohms,
                    Column::PlateOhmsLeast => &mut self.plate_ohms_least,
                    Column::Mu => &mut self.mu,
                    Column::MuScreen => &mut self.mu_screen,
                    Column::Drop => &mut self.drop,
                    Column::Error => &mut self.uncertainty,
                    _ => cathode,
                };
                *slot = Some(value);
            }
        }
        Ok(())
    }

    /// What is missing or too much, if anything is: code, sentence, advice.
    fn odd(&self) -> Option<(&'static str, &'static str, &'static str)> {
        let point = |what, advice| Some(("rows-point", what, advice));
        if self.drop.is_some() {
            if self.plate.is_some() || self.grid.is_some() {
                return point(
                    "A row with a rectifier's drop has plate or grid volts too.",
                    "Leave one of the two out.",
                );
            }
        } else if !self.plate.is_some_and(|v| v > 0.0) {
            return point(
                "This row has no plate volts above its cathode.",
                "Write them in the column `plate`.",
            );
        } else if self.screen.is_some_and(|v| v <= 0.0) {
            return point(
                "The screen of this row is not above its cathode.",
                "Write the screen volts in the column `screen`.",
            );
        } else if self.grid.is_some() && self.cathode_ohms.is_some() {
            return point(
                "This row has grid volts and a cathode resistor.",
                "Keep the grid volts if they were read from the cathode, else the resistor.",
            );
        } else if self.grid.is_none() && self.cathode_ohms.is_none() {
            return point(
                "This row has no grid volts.",
                "Write them in the column `grid`, or a cathode resistor in `cathode_ohms`.",
            );
        } else if self.triode_connected && self.screen.is_some() {
            return point(
                "This row has screen volts although its screen is on the plate.",
                "Leave the screen volts out, or write no in `triode_connected`.",
            );
        }
        if self.plate_amps.is_none() && self.cathode_amps.is_none() {
            return Some((
                "rows-current",
                "This row has no current.",
                "Write it in the column `plate_ma`, or the cathode's in `cathode_ma`.",
            ));
        }
        None
    }
}
