//! Helpers of the cohort tests.
#![allow(clippy::allow_attributes, reason = "what is unused differs by test file")]
#![allow(dead_code, reason = "what is unused differs by test file")]

pub(crate) mod columns;
pub(crate) mod phantoms;
mod whole;
pub(crate) mod world;
