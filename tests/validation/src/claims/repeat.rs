//! The same bone measured twice.

use std::io::{Read, Write};
use std::path::Path;

use pilothole_assess::HoleResult;
use pilothole_phantom::{Recipe, SceneKind};
use rayon::prelude::*;

use super::{NATIVE, Section, World, judged};
use crate::row::{ERROR_HEADS, Row, Tag, figures};
use crate::solve::{solve, usual};

const SCENES: [SceneKind; 4] =
    [SceneKind::Plate, SceneKind::Ball, SceneKind::Tube, SceneKind::Ellipsoid];

/// Second less first: far ends, mm, and thread means, HU.
#[derive(Clone, Debug, Default)]
struct Differences {
    far_mm: Vec<f64>,
    thread_hu: Vec<f64>,
}

impl Differences {
    fn add(&mut self, first: &[HoleResult], second: &[HoleResult]) {
        for (a, b) in first.iter().zip(second) {
            self.far_mm.extend(a.far.zip(b.far).map(|(a, b)| b.at_mm - a.at_mm));
            // Means over different lengths are of different bone.
            let same = a.length_mm == b.length_mm;
            self.thread_hu.extend(
                a.hu.zip(b.hu).filter(|_| same).map(|(a, b)| b.thread.mean - a.thread.mean),
            );
        }
    }
}

/// Phantoms of every scene, and the same changed.
fn twice(change: impl Fn(&mut Recipe) + Sync) -> Differences {
    let pairs: Vec<_> = SCENES
        .into_par_iter()
        .map(|scene| {
            let first = usual(scene, 0.9);
            let mut second = first.clone();
            change(&mut second);
            (solve(&first), solve(&second))
        })
        .collect();
    let mut all = Differences::default();
    for (first, second) in &pairs {
        all.add(&first.found, &second.found);
    }
    all
}

/// The native pelvis with all slices and with every second; `None` where the
/// scan is not at hand.
fn half_the_slices(world: &World) -> Option<Differences> {
    let whole = world.native_judged(0)?;
    let home = tempfile::tempdir().expect("a folder");
    every_second(&world.scans.as_ref()?.join(NATIVE), home.path());
    let half = judged(home.path(), &world.native_plan(0)).expect("the scan is judged");
    let mut all = Differences::default();
    all.add(&whole.holes, &half.holes);
    Some(all)
}

/// Unpack every second slice; names follow the slices' order.
fn every_second(archive: &Path, to: &Path) {
    let file = std::fs::File::open(archive).expect("the scan is there");
    let mut archive = zip::ZipArchive::new(file).expect("an archive");
    let mut names: Vec<String> =
        archive.file_names().map(|name| name.expect("a name of text").into_owned()).collect();
    names.sort();
    for (at, name) in names.iter().enumerate().step_by(2) {
        let mut bytes = Vec::new();
        archive.by_name(name).expect("listed").read_to_end(&mut bytes).expect("unpacks");
        std::fs::File::create(to.join(format!("{at:04}")))
            .and_then(|mut file| file.write_all(&bytes))
            .expect("written");
    }
}

/// Ids of the rows of far ends and of thread means.
type Ids = [&'static str; 2];

fn rows(ids: Ids, what: &str, differences: &Differences, needs_scan: bool) -> Vec<Row> {
    let row = |id, quantity: &str, errors: &[f64], unit| Row {
        id,
        what: format!("{quantity}: {what}"),
        source: "none: ours twice".to_owned(),
        tag: Tag::Own,
        figures: figures(errors, unit),
        test: "tests/truth.rs `moving_patient_and_plan_together_changes_no_answer`",
        needs_scan,
    };
    vec![
        row(ids[0], "far end", &differences.far_mm, "mm"),
        row(ids[1], "thread mean", &differences.thread_hu, "HU"),
    ]
}

pub(super) fn section(world: &World) -> Section {
    let noise = twice(|recipe| recipe.scanner.seed += 1);
    let voxels = twice(|recipe| recipe.grid.spacing_mm = [0.7; 3]);
    let turned = twice(|recipe| recipe.pose.turn_deg = [13.0, -9.0, 31.0]);
    let slices = half_the_slices(world).unwrap_or_default();
    let mut all = rows(["repeat-noise", "repeat-noise-hu"], "two draws of noise", &noise, false);
    all.extend(rows(
        ["repeat-voxel", "repeat-voxel-hu"],
        "voxels of 0.9 and 0.7 mm",
        &voxels,
        false,
    ));
    all.extend(rows(
        ["repeat-turned", "repeat-turned-hu"],
        "the patient turned by 13, -9 and 31°",
        &turned,
        false,
    ));
    all.extend(rows(
        ["repeat-slices", "repeat-slices-hu"],
        "a real pelvis with all slices (3 mm) and every second (6 mm)",
        &slices,
        true,
    ));
    Section {
        title: "Repeatability",
        claim: "The same bone gives the same answer.".to_owned(),
        heads: ERROR_HEADS.to_vec(),
        rows: all,
        remarks: "Differences are second less first; four scenes with blur 0.6 mm and 15 HU of noise. Thread means are compared where both gave the same length. Slices of 6 mm are far beyond what the tool advises (`docs/ct-protocol.md`); the row shows what that costs.".to_owned(),
    }
}
