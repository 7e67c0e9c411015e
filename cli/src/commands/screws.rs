//! `screws`: the thread table.

use pilothole_study::screw_table;

use crate::terminal;

/// Print the built-in threads.
pub(crate) fn run() {
    terminal::data(&screw_table());
}
