//! A plan as TOML; one that is taken is written and read again.
#![no_main]

use libfuzzer_sys::fuzz_target;
use pilothole_plan::{Format, Plan};

fuzz_target!(|text: &str| {
    if let Ok(plan) = Plan::parse(text, Format::Toml) {
        let written = plan.resolved_toml();
        Plan::parse(&written, Format::Toml).expect("what is written is read");
    }
});
