//! `NIfTI-1` single files, a second way in for open research sets.
//!
//! Format: the `NIfTI-1` header of 348 bytes (`nifti1.h`, R. W. Cox et al.).
//! Positions come from the sform, else the qform; both are R, A, S and are
//! turned to L, P, S by negating the first two axes. `ANALYZE` files and pairs
//! of `.hdr` and `.img` have no reliable place in the patient and are passed
//! over.

mod header;
mod load;

pub(crate) use header::{NiftiHeader, Refused, recognise};
pub(crate) use load::read_nifti;
