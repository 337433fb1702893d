//! Each kind of part alone, in circuits small enough to work out by hand.

mod bench;
mod controls;
mod damage;
mod example;
mod mains;
mod passive;
mod reach;
mod valves;
mod wound;
