//! Files made to hurt.

use super::{Section, World};
use crate::hostile::try_all;
use crate::row::{Row, Tag};

/// Files of each kind that a run of this program tries.
const COUNT: usize = 2000;

pub(super) fn section(_: &World) -> Section {
    let rows = try_all(COUNT).into_iter().map(|tried| Row {
        id: tried.id,
        what: tried.kind.to_owned(),
        source: "seeded changes to a sound file".to_owned(),
        tag: Tag::Own,
        figures: [tried.inputs, tried.taken, tried.refused, tried.panicked]
            .map(|count| count.to_string())
            .to_vec(),
        test: "tests/validation/tests/hostile.rs `changed_files_of_every_kind_do_no_harm`",
        needs_scan: false,
    });
    Section {
        title: "Hostile and broken input",
        claim: "No file makes the tool panic, hang or take memory without bound.".to_owned(),
        heads: vec!["tried", "taken", "refused", "panicked"],
        rows: rows.collect(),
        remarks: "Taken means read as if sound: a change in a pixel or a comment cannot be seen. Memory and time are held in the named test by a child with 2 GB of address space. Plans are TOML and JSON: neither language has references that could multiply a text, so the bombs tried are depth, length and repetition.".to_owned(),
    }
}
