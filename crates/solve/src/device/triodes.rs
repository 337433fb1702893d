//! Currents of many triodes, four side by side and group after group.
//!
//! A triode's currents are a chain of exponentials and logarithms, each of which waits for the one before. Here all groups
//! take one link before any takes the next, so that a processor works on one while another waits. The equations
//! are those of [`super::triode`], and so are the bits.

use super::TriodeLaw;
use super::number::{softplus_log, softplus_power, softplus_value};
use super::triode::{driven, grid_part, shared, space_current};
use crate::lanes::Wide;

/// So many groups go together.
pub(crate) const TOGETHER: usize = 4;

/// A number for each group.
type Each = [Wide; TOGETHER];

/// Plate and grid amperes of up to [`TOGETHER`] groups, of their laws and their plate and grid volts.
#[inline(always)]
pub(crate) fn triodes_currents<'a>(
    laws: impl Fn(usize) -> &'a TriodeLaw<Wide>,
    volts: &[[Wide; 2]],
    amps: &mut [[Wide; 2]; TOGETHER],
) {
    let none: Each = [Wide::all(0.0); TOGETHER];
    let (mut part, mut width, mut z, mut now, mut grid) = (none, none, none, none, none);
    let groups = volts.len().min(TOGETHER);
    for (group, [plate, volts]) in volts.iter().take(TOGETHER).enumerate() {
        let driven = driven(laws(group), *plate, *volts);
        part[group] = driven.plate_part.0;
        width[group] = driven.width;
        z[group] = driven.by_width;
        grid[group] = driven.grid;
    }
    let every = 0..groups;
    for group in every.clone() {
        now[group] = softplus_power(z[group]);
    }
    for group in every.clone() {
        grid[group] = grid_part(laws(group), grid[group]).0;
    }
    for group in every.clone() {
        now[group] = softplus_value(z[group], now[group]);
    }
    for group in every.clone() {
        now[group] = softplus_log(z[group], width[group], now[group]);
    }
    for group in every {
        let law = laws(group);
        let whole = space_current(law, now[group]);
        let (share, left, ..) = shared(law, grid[group], part[group]);
        amps[group] = [left * whole, share * whole];
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::device::{triode_currents, triode_law};

    /// Group after group or all links of one at a time: the same bits, from cut-off far into grid current.
    #[test]
    fn the_bits_are_those_of_one_group_alone() {
        let laws = ["12AX7", "12AU7", "12AT7", "6SN7GT"].map(|name| triode_law(name, None));
        let laws: Vec<TriodeLaw> = laws.into_iter().flatten().collect();
        assert!(laws.len() > 1);
        for groups in 1..=TOGETHER {
            let all: Vec<TriodeLaw<Wide>> = (0..groups)
                .map(|group| {
                    let numbers = |lane: usize| laws[(group + lane) % laws.len()].numbers();
                    let each = [0, 1, 2, 3].map(numbers);
                    TriodeLaw::of_numbers(std::array::from_fn(|at| Wide(each.map(|law| law[at]))))
                })
                .collect();
            for plate in [-5.0, 3.0, 40.0, 250.0] {
                let volts: Vec<[Wide; 2]> = (0..groups)
                    .map(|group| {
                        let moved = 10.0 * group as f64;
                        let grid = Wide([-60.0, -2.0, 0.3, 8.0]);
                        [Wide::all(plate + moved), grid - Wide::all(0.1 * moved)]
                    })
                    .collect();
                let mut amps = [[Wide::all(f64::NAN); 2]; TOGETHER];
                triodes_currents(|group| &all[group], &volts, &mut amps);
                for ((law, volts), amps) in all.iter().zip(&volts).zip(&amps) {
                    let alone = triode_currents(*law, volts[0], volts[1]);
                    let bits = |wide: Wide| wide.0.map(f64::to_bits);
                    assert_eq!(bits(amps[0]), bits(alone.plate_a));
                    assert_eq!(bits(amps[1]), bits(alone.grid_a));
                }
            }
        }
    }
}
