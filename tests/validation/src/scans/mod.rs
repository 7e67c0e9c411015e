//! One page for each open scan: what was read, refused, found, and beside what.

mod hip;
mod phantom;
mod reading;
mod trouble;

use crate::claims::World;

/// Where the pages lie in the repository.
pub const FOLDER: &str = "docs/scans";

/// Name and text of every page; none where there is no scan.
pub fn pages(world: &World) -> Vec<(String, String)> {
    let Some(scans) = &world.scans else { return Vec::new() };
    vec![
        ("native.md".to_owned(), hip::page(world, scans, &hip::NATIVE)),
        ("metal.md".to_owned(), hip::page(world, scans, &hip::METAL)),
        ("density-phantom.md".to_owned(), phantom::page(scans)),
        ("trouble.md".to_owned(), trouble::page(scans)),
    ]
}
