//! Operating points of a valve as a spreadsheet: from its sheet, or read on the bench.
//!
//! The first row names the columns, in any order: those of a `static` row of a valve file, in the units a sheet prints
//! (volts, milliamperes, micromhos, ohms). A row that can't be understood is told with line and column, and the others
//! stay. What `tubewright valves TYPE --csv` prints is understood too. No text makes it panic.

use crate::diagnostic::{Diagnostic, Place, Severity};
use crate::units::{Quantity, ValueError, parse_raw};

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

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Column {
    Section,
    Plate,
    Screen,
    Grid,
    Cathode,
    CathodeOhms,
    TriodeConnected,
    PlateAmps,
    ScreenAmps,
    CathodeAmps,
    Gm,
    PlateOhms,
    PlateOhmsLeast,
    Mu,
    MuScreen,
    Drop,
    Error,
    Note,
}

/// How a cell of a column is read: its quantity where it may carry a unit, the factor from the file's unit to SI, and the
/// least and largest magnitude that make sense.
#[derive(Debug, Clone, Copy)]
struct Measure {
    quantity: Option<Quantity>,
    factor: f64,
    size: (f64, f64),
    negative: bool,
}

impl Column {
    /// The column of a heading, with the factor of its unit.
    fn of(heading: &str) -> Option<(Self, f64)> {
        let plain: String = heading
            .chars()
            .map(|c| match c {
                '\u{3a9}' | '\u{2126}' => 'Ω',
                c => c,
            })
            .filter(|c| c.is_alphanumeric() || *c == '%')
            .flat_map(char::to_lowercase)
            .collect();
        Some(match plain.as_str() {
            "section" => (Self::Section, 1.0),
            "plate" | "platev" | "platevolts" => (Self::Plate, 1.0),
            "screen" | "screenv" | "screenvolts" => (Self::Screen, 1.0),
            "grid" | "gridv" | "gridvolts" => (Self::Grid, 1.0),
            "cathode" | "cathodev" | "cathodevolts" => (Self::Cathode, 1.0),
            "cathodeohms" | "cathodeω" => (Self::CathodeOhms, 1.0),
            "triodeconnected" => (Self::TriodeConnected, 1.0),
            "platema" => (Self::PlateAmps, 1e-3),
            "plateamps" => (Self::PlateAmps, 1.0),
            "screenma" => (Self::ScreenAmps, 1e-3),
            "screenamps" => (Self::ScreenAmps, 1.0),
            "cathodema" => (Self::CathodeAmps, 1e-3),
            "cathodeamps" => (Self::CathodeAmps, 1.0),
            "gmus" | "gmumhos" | "gmmicromhos" => (Self::Gm, 1e-6),
            "gmms" | "gmmav" | "ms" => (Self::Gm, 1e-3),
            "gmsiemens" => (Self::Gm, 1.0),
            "rp" | "rpohms" | "rpω" => (Self::PlateOhms, 1.0),
            "rpleast" | "rpleastohms" => (Self::PlateOhmsLeast, 1.0),
            "mu" | "μ" => (Self::Mu, 1.0),
            "muscreen" => (Self::MuScreen, 1.0),
            "drop" | "dropv" | "dropvolts" => (Self::Drop, 1.0),
            "error" | "errorpercent" | "error%" => (Self::Error, 1e-2),
            "note" => (Self::Note, 1.0),
            _ => return None,
        })
    }

    /// Its name in messages.
    fn word(self) -> &'static str {
        ROW_COLUMNS
            .get(self as usize)
            .copied()
            .unwrap_or("this column")
    }

    fn measure(self, factor: f64) -> Measure {
        let of = |quantity, size, negative| Measure {
            quantity,
            factor,
            size,
            negative,
        };
        match self {
            Self::Grid => of(Some(Quantity::Volts), (0.0, 500.0), true),
            Self::Cathode => of(Some(Quantity::Volts), (0.0, 5000.0), true),
            Self::Plate | Self::Screen | Self::Drop => {
                of(Some(Quantity::Volts), (0.01, 5000.0), false)
            }
            Self::CathodeOhms => of(Some(Quantity::Ohms), (0.1, 1e7), false),
            Self::PlateOhms | Self::PlateOhmsLeast => of(Some(Quantity::Ohms), (10.0, 1e8), false),
            Self::PlateAmps | Self::ScreenAmps | Self::CathodeAmps => {
                of(Some(Quantity::Amps), (1e-7, 10.0), false)
            }
            Self::Gm => of(None, (1e-6, 0.5), false),
            Self::Error => of(None, (1e-4, 1.0), false),
            _ => of(None, (0.5, 2000.0), false),
        }
    }
}

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

/// One line with its place in the text.
struct Line<'t> {
    text: &'t str,
    file: usize,
    number: usize,
    start: usize,
}

/// The lines of a text, whatever ends them.
struct Lines<'t> {
    text: &'t str,
    file: usize,
    number: usize,
    at: usize,
}

impl<'t> Lines<'t> {
    fn of(text: &'t str, file: usize) -> Self {
        Self {
            text,
            file,
            number: 0,
            at: 0,
        }
    }
}

impl<'t> Iterator for Lines<'t> {
    type Item = Line<'t>;

    fn next(&mut self) -> Option<Line<'t>> {
        let rest = self.text.get(self.at..).filter(|r| !r.is_empty())?;
        let length = rest.find(['\n', '\r']).unwrap_or(rest.len());
        let end = rest.get(length..).unwrap_or_default();
        let ending = if end.starts_with("\r\n") {
            2
        } else {
            usize::from(!end.is_empty())
        };
        self.number += 1;
        let line = Line {
            text: rest.get(..length).unwrap_or_default(),
            file: self.file,
            number: self.number,
            start: self.at,
        };
        self.at += length + ending;
        Some(line)
    }
}

/// The separator that the header uses most; a comma if it uses none.
fn separator(header: &str) -> char {
    let count = |c: char| header.matches(c).count();
    [';', '\t']
        .into_iter()
        .filter(|c| count(*c) > count(','))
        .max_by_key(|c| count(*c))
        .unwrap_or(',')
}

/// A cell with the bytes of the line it takes.
struct Cell {
    text: String,
    start: usize,
    end: usize,
}

impl Line<'_> {
    /// A part of the line as a place.
    fn place(&self, start: usize, end: usize) -> Place {
        let before = self.text.get(..start).unwrap_or_default();
        Place {
            file: self.file,
            line: self.number,
            column: before.chars().count() + 1,
            start: self.start + start,
            end: self.start + end,
        }
    }

    fn whole(&self) -> Place {
        self.place(0, self.text.len())
    }

    /// The cells, and whether a quote is left open. A line end inside quotes is not understood: our own reader, because
    /// each cell must know its column.
    fn cells(&self, separator: char) -> (Vec<Cell>, bool) {
        let mut cells = Vec::new();
        let mut text = String::new();
        let (mut start, mut quoted) = (0, false);
        let mut letters = self.text.char_indices().peekable();
        while let Some((at, c)) = letters.next() {
            match c {
                '"' if quoted && letters.peek().is_some_and(|(_, n)| *n == '"') => {
                    letters.next();
                    text.push('"');
                }
                '"' => quoted = !quoted,
                c if c == separator && !quoted => {
                    cells.push(Cell::trimmed(
                        std::mem::take(&mut text),
                        self.text,
                        start,
                        at,
                    ));
                    start = at + c.len_utf8();
                }
                c => text.push(c),
            }
        }
        cells.push(Cell::trimmed(text, self.text, start, self.text.len()));
        (cells, quoted)
    }
}

impl Cell {
    fn trimmed(text: String, line: &str, start: usize, end: usize) -> Self {
        let raw = line.get(start..end).unwrap_or_default();
        let lead = raw.len() - raw.trim_start().len();
        let start = (start + lead).min(end);
        let end = (start + raw.trim().len()).min(end);
        Self {
            text: text.trim().to_owned(),
            start,
            end,
        }
    }
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

/// A number in a cell, in SI units; else what is wrong and what to write.
fn number(column: Column, factor: f64, text: &str) -> Result<f64, (String, String)> {
    let measure = column.measure(factor);
    let name = column.word();
    let raw = parse_raw(text).map_err(|error| {
        let advice = match &error {
            ValueError::Comma { .. } => {
                format!("Write {}.", either(error.offers()))
            }
            _ => format!("Write a plain number in the column `{name}`, or leave it empty."),
        };
        (format!("`{text}` is no number."), advice)
    })?;
    let value = match (raw.unit, measure.quantity) {
        (Some(unit), Some(wanted)) if unit == wanted => raw.value,
        (Some(unit), _) => {
            return Err((
                format!("`{text}` is in {}.", unit.word()),
                format!("Write a plain number in the column `{name}`."),
            ));
        }
        // `62k5` is a resistance to everybody; `2m` is nothing to anybody.
        (None, Some(Quantity::Ohms)) if raw.prefix.is_none_or(|p| p >= 0) => raw.value,
        (None, _) if raw.prefix.is_none() => raw.value * measure.factor,
        _ => {
            return Err((
                format!("`{text}` has a prefix and no unit."),
                format!("Write a plain number in the column `{name}`."),
            ));
        }
    };
    let (least, most) = measure.size;
    if value < 0.0 && !measure.negative {
        return Err((
            format!("The {name} of this row is below 0."),
            "Write it without the sign; only grid volts are below 0.".to_owned(),
        ));
    }
    if !(least..=most).contains(&value.abs()) {
        return Err((
            format!("`{text}` can't be the {name} of a valve."),
            format!(
                "It should lie from {} to {}.",
                trimmed(least / measure.factor),
                trimmed(most / measure.factor)
            ),
        ));
    }
    Ok(value)
}

fn trimmed(value: f64) -> String {
    let short: f64 = format!("{value:.3e}").parse().unwrap_or(value);
    format!("{short}")
}

fn either(offers: &[String]) -> String {
    let all: Vec<String> = offers.iter().map(|o| format!("`{o}`")).collect();
    all.join(" or ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn codes(text: &str) -> Vec<(&'static str, usize, usize)> {
        read_rows(text, 0)
            .diagnostics
            .iter()
            .map(|d| (d.code, d.place.line, d.place.column))
            .collect()
    }

    #[test]
    fn columns_in_any_order_and_every_separator() {
        for text in [
            "grid,plate,plate_ma\n-2,250,1.2\n",
            "Plate V;plate mA;Grid V\r\n250;1.2;-2\r\n",
            "# my bench\nplate\tgrid\tplate_amps\n\n250 V\t\u{2212}2\t1.2 mA\n",
        ] {
            let read = read_rows(text, 0);
            assert_eq!(read.diagnostics, Vec::new(), "{text}");
            let row = &read.rows[0];
            assert_eq!(
                (row.plate, row.grid, row.plate_amps),
                (Some(250.0), Some(-2.0), Some(1.2e-3)),
                "{text}"
            );
        }
    }

    #[test]
    fn what_the_data_sheet_command_prints_is_read() {
        let text = "plate_volts,screen_volts,grid_volts,cathode_ohms,plate_amps,screen_amps,gm_siemens\n\
                    250,140,-2.2,,0.003,0.0006,0.0022\n";
        let read = read_rows(text, 0);
        assert_eq!(read.diagnostics, Vec::new());
        assert_eq!(read.rows[0].screen_amps, Some(6e-4));
        assert_eq!(read.rows[0].gm, Some(2.2e-3));
    }

    #[test]
    fn volts_to_ground_are_taken_from_the_cathode() {
        let read = read_rows("plate,screen,grid,cathode,cathode_ma\n300,260,0,18,47\n", 0);
        let row = &read.rows[0];
        assert_eq!(
            (row.plate, row.screen, row.grid),
            (Some(282.0), Some(242.0), Some(-18.0))
        );
        assert_eq!(row.cathode_amps, Some(0.047));
    }

    #[test]
    fn every_slip_has_its_line_and_column_and_leaves_the_others() {
        let text = "plate,grid,plate_ma,rp\n\
                    250,-2,1.2,62k5\n\
                    250,-2,x,\n\
                    250,,1.2,\n\
                    250,-2,,\n\
                    250,-2,-1.2,\n\
                    25000,-2,1,\n\
                    250,-2,1.2,3,4\n\
                    100, -1, 0.5, 80k\n";
        assert_eq!(
            codes(text),
            [
                ("rows-cell", 3, 8),
                ("rows-point", 4, 1),
                ("rows-current", 5, 1),
                ("rows-cell", 6, 8),
                ("rows-cell", 7, 1),
                ("rows-cell", 8, 14),
            ]
        );
        assert_eq!(read_rows(text, 0).rows.len(), 2);
        assert_eq!(codes(""), [("rows-header", 1, 1)]);
        assert_eq!(codes("1,2,3\n4,5,6\n"), [("rows-header", 1, 1)]);
        assert_eq!(
            codes("plate,grid,plate_ma,colour\n"),
            [("rows-column", 1, 21)]
        );
        assert_eq!(
            codes("plate,grid,plate_ma,note\n1,2,3,\"open\n"),
            [("rows-quote", 2, 1)]
        );
        assert_eq!(
            codes("plate;grid;plate_ma\n250;-2;1,2\n"),
            [("rows-cell", 2, 8)]
        );
        let comma = read_rows("plate;grid;plate_ma\n250;-2;1,2\n", 0);
        assert!(comma.diagnostics[0].advice.contains("`1.2`"));
    }

    #[test]
    fn any_text_is_survived() {
        proptest::proptest!(|(text in "(plate|grid|drop|plate_ma|[,;\t\"\n\r0-9.kµ-]){0,60}")| {
            let read = read_rows(&text, 0);
            for d in read.diagnostics {
                proptest::prop_assert!(text.get(d.place.start..d.place.end).is_some());
                proptest::prop_assert!(ROW_CODES.contains(&d.code));
            }
        });
    }
}
