//! A section whose lines form a grid, such as the same points at one mains step after the other:
//! shown as one table, a row for each point.

use crate::serve::marks;
use bench::sheet::{Line, Outcome, Section};
use maud::{Markup, html};

/// A grid of lines.
pub(crate) struct Grid<'a> {
    /// The columns.
    pub(crate) steps: Vec<&'a str>,
    /// The rows: a point, and its line at each step.
    rows: Vec<(&'a str, Vec<Option<&'a Line>>)>,
}

/// The grid of a section, when it is one: at least two steps and two points, most cells filled.
pub(crate) fn grid(section: &Section) -> Option<Grid<'_>> {
    let mut steps: Vec<&str> = Vec::new();
    let mut points: Vec<&str> = Vec::new();
    for line in &section.lines {
        let point = line.point()?;
        if !steps.contains(&line.what()) {
            steps.push(line.what());
        }
        if !points.contains(&point) {
            points.push(point);
        }
    }
    let full = steps.len() * points.len();
    if steps.len() < 2 || points.len() < 2 || section.lines.len() * 3 < full * 2 {
        return None;
    }
    let rows = points
        .into_iter()
        .map(|point| {
            let at = |step: &&str| {
                section
                    .lines
                    .iter()
                    .find(|l| l.point() == Some(point) && l.what() == *step)
            };
            (point, steps.iter().map(at).collect())
        })
        .collect();
    Some(Grid { steps, rows })
}

/// As a table; `head` is put under the name of each step.
pub(crate) fn table(title: &str, grid: &Grid<'_>, head: impl Fn(usize) -> Markup) -> Markup {
    html! {
        div.scrolls tabindex="0" role="region" aria-label=(title) {
            table.steps-grid {
                thead { tr {
                    th scope="col" { "Point" }
                    @for (i, step) in grid.steps.iter().enumerate() { th.figure scope="col" { (step) (head(i)) } }
                } }
                tbody {
                    @for (point, cells) in &grid.rows {
                        tr {
                            th scope="row" { (point) }
                            @for cell in cells { td.figure { @if let Some(line) = cell { (one(line)) } } }
                        }
                    }
                }
            }
        }
    }
}

fn one(line: &Line) -> Markup {
    html! {
        @if let Some(e) = line.expected() { span.computed { (e) } }
        @if let Some(l) = line.limit() { span.limit { (l.to_string().replace("at most ", "max ").replace("at least ", "min ")) } }
        @if matches!(line.outcome(), Outcome::Fail | Outcome::Stop) { (marks::outcome(line.outcome())) }
        @if line.expected().is_none() && !line.why().is_empty() { span.limit { (marks::typed(line.why())) } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bench::sheet::{Expected, Origin};

    fn line(what: &str, point: &str) -> Line {
        Line::open(what, Origin::measured())
            .at(point)
            .expecting(Expected::value(1.0, "V"))
    }

    fn section(lines: Vec<Line>) -> Section {
        Section {
            title: "Steps".to_owned(),
            lines,
        }
    }

    #[test]
    fn steps_by_points_become_a_grid_and_a_list_does_not() {
        let lines = section(
            ["25 %", "50 %"]
                .iter()
                .flat_map(|s| ["B1", "B2"].map(|p| line(s, p)))
                .collect(),
        );
        let grid = grid(&lines).unwrap();
        assert_eq!(grid.steps, ["25 %", "50 %"]);
        let shown = table("Steps", &grid, |_| html! {}).into_string();
        assert_eq!(shown.matches("<tr>").count(), 3, "{shown}");
        let list = section(vec![line("fuse", "F1"), line("cord", "live")]);
        assert!(super::grid(&list).is_none());
    }
}
