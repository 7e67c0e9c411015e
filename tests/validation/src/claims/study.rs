//! The study of 1,000 phantoms, from its recorded table.
//!
//! [`section`] is the one place that knows it: it reads
//! `fixtures/reference/study_lengths.csv` (head `phantom,hole,step_mm,truth_mm,found_mm`;
//! a length is empty where there is none; `step_mm` the step of the stock).

use std::collections::BTreeSet;

use super::{Section, World};
use crate::lengths::Lengths;
use crate::row::{Row, Tag};

/// The table of the study.
const TABLE: &str = "fixtures/reference/study_lengths.csv";

fn counted(world: &World) -> Option<(usize, Lengths)> {
    let mut table = csv::Reader::from_path(world.root.join(TABLE)).ok()?;
    let (mut phantoms, mut all) = (BTreeSet::new(), Lengths::default());
    for record in table.records() {
        let row = record.expect("a row of text");
        let number = |at: usize| row[at].parse::<f64>().ok();
        let step_mm = number(2).expect("a step");
        phantoms.insert(row[0].to_owned());
        // A stock of equal steps, as long as any screw.
        let stocked: Vec<f64> = (1..=60).map(|n| f64::from(n) * step_mm).collect();
        all.add(number(4), number(3), &stocked);
    }
    Some((phantoms.len(), all))
}

pub(super) fn section(world: &World) -> Section {
    let counted = counted(world);
    let rows = counted.iter().map(|(phantoms, lengths)| Row {
        id: "length-study",
        what: format!("{phantoms} phantoms of the study"),
        source: "closed form of the phantoms".to_owned(),
        tag: Tag::Derived,
        figures: lengths.figures(),
        test: "tests/validation/src/lengths.rs `lengths_are_counted_in_steps_of_the_stock`",
        needs_scan: false,
    });
    Section {
        title: "Length over the study's phantoms",
        claim: "The same question over 1,000 phantoms run as a cohort.".to_owned(),
        heads: Lengths::HEADS.to_vec(),
        rows: rows.collect(),
        remarks: if counted.is_some() {
            String::new()
        } else {
            "The study has not been run: no figure.".to_owned()
        },
    }
}
