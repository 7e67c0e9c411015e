//! What the README claims, compared with the outside world; `docs/validation.md`.
//!
//! Every figure of that page is computed by [`page::page`]; nothing is typed
//! but sources, and published figures come from `fixtures/reference`.

pub mod broken;
pub mod claims;
pub mod dependencies;
pub mod drift;
pub mod hostile;
pub mod lengths;
pub mod normal;
pub mod page;
pub mod picture;
pub mod row;
pub mod scans;
pub mod solve;
pub mod worked;

use std::path::{Path, PathBuf};

/// The root of the repository.
///
/// # Panics
///
/// Never: this crate lies two folders below it.
pub fn root() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.ancestors().nth(2).expect("tests/validation lies in the root").to_path_buf()
}

/// The folder of open scans, in `PILOTHOLE_DATA` or beside the checkout.
pub fn real_scans() -> Option<PathBuf> {
    #[expect(clippy::disallowed_methods, reason = "told where the scans are, as the tests are")]
    let named = std::env::var("PILOTHOLE_DATA").ok().map(PathBuf::from);
    named
        .into_iter()
        .chain([root().join("../shared/data")])
        .find(|folder| folder.join("pelvis_native_3mm").is_dir())
}
