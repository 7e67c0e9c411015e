//! Intake against made series, real scans and hostile bytes.

mod codes;
mod containers;
mod enhanced;
mod geometry;
mod hostile;
mod identity;
mod made;
mod mutate;
mod nifti;
mod pixels;
mod real;
mod samples;
