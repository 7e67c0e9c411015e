//! `screws`: the thread table.

use pilothole_study::screw_table;

use crate::terminal::{self, Failure};

/// Print the built-in threads.
pub(crate) fn run() -> Result<u8, Failure> {
    terminal::data(&screw_table());
    Ok(0)
}
