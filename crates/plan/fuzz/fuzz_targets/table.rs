//! A table of holes on a sound plan.
#![no_main]

use libfuzzer_sys::fuzz_target;
use pilothole_plan::{Frame, import_plan};

const BASE: &str = include_str!("../../tests/sample.toml");

fuzz_target!(|table: &str| {
    let _refused_or_read = import_plan(BASE, table, &Frame::Same);
});
