//! What a change of the amp to a drawing would need: parts and wires, apart from whole blocks that
//! only one side has.

use super::{BlockVerdict, DrawingKin, Step, StepKind};

/// The steps toward a drawing.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Needed<'a> {
    /// Parts to fit, to change and to take out.
    pub parts: Vec<&'a Step>,
    /// Ends to move.
    pub wires: Vec<&'a Step>,
    /// Parts of blocks that are only here or only there, or not traced yet: no steps for these.
    pub left_out: usize,
}

impl Needed<'_> {
    /// How many edits the listed steps count for.
    #[must_use]
    pub fn edits(&self) -> usize {
        self.parts.iter().chain(&self.wires).map(|s| s.edits).sum()
    }
}

impl DrawingKin {
    /// What would make the amp as drawn.
    #[must_use]
    pub fn needed(&self) -> Needed<'_> {
        let parts_of = |verdict: BlockVerdict| -> Vec<&str> {
            let blocks = self.blocks.iter().filter(|b| b.verdict == verdict);
            blocks
                .flat_map(|b| b.parts.iter().map(String::as_str))
                .collect()
        };
        let (here, there) = (
            parts_of(BlockVerdict::OnlyHere),
            parts_of(BlockVerdict::OnlyThere),
        );
        let mut needed = Needed::default();
        for step in self.pairs.iter().flat_map(|p| &p.steps) {
            let whole_block = match step.kind {
                StepKind::Fit => there.contains(&step.part.as_str()),
                StepKind::TakeOut => here.contains(&step.part.as_str()),
                _ => false,
            };
            match step.kind {
                _ if whole_block => needed.left_out += 1,
                StepKind::MoveEnd => needed.wires.push(step),
                _ => needed.parts.push(step),
            }
        }
        needed
    }
}
