//! Which thing and which net of the amp stands for which of the drawing.

use super::graph::NONE;

/// Which thing stands for which, both ways, and which net for which.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Match {
    /// By thing of the amp: thing of the drawing.
    pub(super) there: Vec<usize>,
    /// By thing of the drawing: thing of the amp.
    pub(super) here: Vec<usize>,
    /// By net of the amp: net of the drawing.
    pub(super) net_there: Vec<usize>,
    /// By net of the drawing: net of the amp.
    pub(super) net_here: Vec<usize>,
}

impl Match {
    pub(super) fn pair(&mut self, i: usize, j: usize) {
        self.part(i);
        if let Some(old) = self.here.get(j).copied().filter(|o| *o != NONE) {
            self.part(old);
        }
        self.there[i] = j;
        self.here[j] = i;
    }
    pub(super) fn part(&mut self, i: usize) {
        let j = self.there[i];
        if j != NONE {
            self.here[j] = NONE;
            self.there[i] = NONE;
        }
    }
    pub(super) fn join(&mut self, x: usize, y: usize) {
        self.sever(x);
        let old = self.net_here[y];
        if old != NONE {
            self.sever(old);
        }
        self.net_there[x] = y;
        self.net_here[y] = x;
    }
    pub(super) fn sever(&mut self, x: usize) {
        let y = self.net_there[x];
        if y != NONE {
            self.net_here[y] = NONE;
            self.net_there[x] = NONE;
        }
    }
}
