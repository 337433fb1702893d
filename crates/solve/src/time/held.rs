//! Slopes that are held: one elimination serves many stages of one length.
//!
//! The devices' slopes hardly change from one stage to the next, so the matrix of an earlier one still
//! sends each iteration most of the way (the chord method; every textbook of numerical analysis). What it leaves is its last
//! correction times a *rate*, which is measured each time that the slopes are taken anew.

use super::build::Moving;
use super::stage::Room;

/// Stages that slopes are held for at most.
const LONGEST: u32 = 32;
/// Part of the accuracy of a stage's unknowns that may be left.
const LEFT: f64 = 0.1;
/// The same where the error of a step is watched, which must not be disturbed.
const LEFT_WATCHED: f64 = 0.01;
/// The rate is taken no lower, and falls no faster from one measurement to the next.
const LEAST_RATE: f64 = 1e-3;
const SLOWEST: f64 = 0.8;

/// The slopes of all devices, in the order in which they are evaluated, and how well holding them serves.
#[derive(Debug, Clone)]
pub(super) struct Held {
    slopes: Vec<f64>,
    /// Part of the accuracy that may be left; nought where slopes are not to be held.
    left: f64,
    /// Do the factors hold these slopes?
    good: bool,
    /// Stages found with them.
    stages: u32,
    /// Part of a correction that is left after it.
    rate: f64,
    /// Corrections of the late unknowns with slopes held, to measure the rate by; empty when there is nothing to measure.
    moved: Vec<f64>,
}

impl Held {
    pub(super) fn new(moving: &Moving) -> Self {
        Self {
            slopes: vec![0.0; moving.bent.slopes()],
            left: 0.0,
            good: false,
            stages: 0,
            rate: 1.0,
            moved: Vec::new(),
        }
    }

    /// Are slopes to be held, and is a step's error watched?
    pub(super) fn want(&mut self, wanted: bool, watched: bool) {
        self.left = match (wanted, watched) {
            (false, _) => 0.0,
            (true, false) => LEFT,
            (true, true) => LEFT_WATCHED,
        };
    }

    pub(super) fn slopes_mut(&mut self) -> &mut [f64] {
        &mut self.slopes
    }

    /// The factors hold these slopes no more.
    pub(super) fn let_go(&mut self) {
        self.good = false;
        self.moved.clear();
    }

    /// The factors were made anew; `corrections` tell by how much each late unknown was off, and how much it may be.
    pub(super) fn made_anew(&mut self, corrections: impl Iterator<Item = (f64, f64)>) {
        if !self.moved.is_empty() {
            let (mut before, mut left) = (0.0_f64, 0.0_f64);
            for (moved, (off, within)) in self.moved.iter().zip(corrections) {
                before = before.max(moved.abs() / within);
                left = left.max(off.abs() / within);
            }
            let rate = (left / before).max(SLOWEST * self.rate);
            self.rate = rate.clamp(LEAST_RATE, 1.0);
            self.moved.clear();
        }
        self.good = true;
        self.stages = 0;
    }
}

impl Moving {
    /// One iteration with the slopes as they are held. False if they are not, or if it is not enough.
    pub(super) fn settled_as_held(&self, room: &mut Room, x: &mut [f64], within: &[f64]) -> bool {
        if !(room.held.left > 0.0 && room.held.good) {
            return false;
        }
        room.count.iterations += 1;
        room.right.fill(0.0);
        let slopes = room.held.slopes_mut();
        self.bent
            .on_right::<true>(&mut room.right, slopes, room.now, x);
        self.solve_late(room);
        let held = &mut room.held;
        held.moved.clear();
        let allowed = held.left / held.rate;
        let mut settled = held.stages < LONGEST;
        let early = self.pattern.early();
        for ((_, column), [new]) in self.pattern.pivots().zip(&room.work).skip(early) {
            let at = column + 1;
            let moved = new - x[at];
            x[at] = *new;
            held.moved.push(moved);
            let most = if at < self.nodes {
                allowed * within[at]
            } else {
                f64::MAX
            };
            settled &= moved.abs() <= most;
        }
        if settled {
            held.stages += 1;
            held.moved.clear();
        }
        settled && self.solve_early(room, x)
    }
}
