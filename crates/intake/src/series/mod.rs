//! Files become series, series become stacks that one volume can hold.

mod check;
mod geometry;
mod group;
mod kernel;
mod known;
mod units;
mod verdict;

pub(crate) use check::{Judged, judge, judge_nifti};
pub(crate) use geometry::Placed;
pub(crate) use group::{Opened, Series, group};
pub use kernel::KernelClass;
pub(crate) use units::check_tissue;
pub use verdict::{Purpose, Verdict, Verdicts};
