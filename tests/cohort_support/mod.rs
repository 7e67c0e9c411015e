//! Helpers of the cohort tests.

pub(crate) mod columns;
pub(crate) mod world;
