//! The same bone measured twice.

use std::io::{Read, Write};
use std::path::Path;

use pilothole_assess::HoleResult;
use pilothole_phantom::{Recipe, SceneKind};
use rayon::prelude::*;

use super::{NATIVE, Section, World, judged};
use crate::row::{ERROR_HEADS, Row, Tag, figures, summary};
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
    fn add<'a>(&mut self, pairs: impl IntoIterator<Item = (&'a HoleResult, &'a HoleResult)>) {
        for (a, b) in pairs {
            self.far_mm.extend(a.far.zip(b.far).map(|(a, b)| b.at_mm - a.at_mm));
            // Means over different lengths are of different bone.
            let same = a.length_mm == b.length_mm;
            self.thread_hu.extend(
                a.hu.zip(b.hu).filter(|_| same).map(|(a, b)| b.thread.mean - a.thread.mean),
            );
        }
    }
}

/// Phantoms of some scenes, and the same changed.
fn twice(scenes: &[SceneKind], change: impl Fn(&mut Recipe) + Sync) -> Differences {
    let pairs: Vec<_> = scenes
        .par_iter()
        .map(|scene| {
            let first = usual(*scene, 0.9);
            let mut second = first.clone();
            change(&mut second);
            (solve(&first), solve(&second))
        })
        .collect();
    let mut all = Differences::default();
    for (first, second) in pairs {
        all.add(first.found.iter().zip(&second.found));
    }
    all
}

/// Largest differences of far ends, mm, over one scene: another draw of noise,
/// smaller voxels, another pose.
///
/// # Panics
///
/// When nothing was compared.
pub fn worst_of_a_plate_mm() -> [f64; 3] {
    [anew, finer, turned].map(|change| {
        let all = twice(&[SceneKind::Plate], change);
        assert!(all.far_mm.len() > 2, "something was compared");
        summary(&all.far_mm).2
    })
}

fn anew(recipe: &mut Recipe) {
    recipe.scanner.seed += 1;
}

fn finer(recipe: &mut Recipe) {
    recipe.grid.spacing_mm = [0.7; 3];
}

fn turned(recipe: &mut Recipe) {
    recipe.pose.turn_deg = [13.0, -9.0, 31.0];
}

/// Reservations with which the tool itself says that a far end is in doubt.
const DOUBTS: [&str; 3] = ["path.no_cortex", "path.bone_again", "path.leaves_scan"];

/// Whether the tool stands by both far ends of a pair.
fn is_sure(pair: &(&HoleResult, &HoleResult)) -> bool {
    let doubts = |hole: &HoleResult| hole.findings.iter().any(|f| DOUBTS.contains(&f.code));
    !doubts(pair.0) && !doubts(pair.1)
}

/// The native pelvis with all slices, and with either half of them.
#[derive(Clone, Debug, Default)]
pub struct Halves {
    /// Far ends by which the tool stands in both.
    sure: Differences,
    /// Those that it doubts in one or both.
    doubted: Differences,
}

impl Halves {
    /// Differences of far ends by which the tool stands, mm.
    pub fn sure_mm(&self) -> &[f64] {
        &self.sure.far_mm
    }

    /// `None` where the scan is not at hand.
    ///
    /// # Panics
    ///
    /// When the scan is there and is refused.
    pub fn of(world: &World) -> Option<Self> {
        let whole = world.native_judged(0)?;
        let scan = world.scans.as_ref()?.join(NATIVE);
        let halves: Vec<Vec<HoleResult>> = [0, 1]
            .into_par_iter()
            .map(|first| {
                let home = tempfile::tempdir().expect("a folder");
                every_second(&scan, first, home.path());
                let judged = judged(home.path(), &world.native_plan(0));
                judged.expect("the scan is judged").holes
            })
            .collect();
        let pairs = halves.iter().flat_map(|half| whole.holes.iter().zip(half));
        let (sure, doubted): (Vec<_>, Vec<_>) = pairs.partition(is_sure);
        let mut all = Self::default();
        all.sure.add(sure);
        all.doubted.add(doubted);
        Some(all)
    }
}

/// Unpack every second slice from the one numbered `first` on; names follow
/// the slices' order.
fn every_second(archive: &Path, first: usize, to: &Path) {
    let file = std::fs::File::open(archive).expect("the scan is there");
    let mut archive = zip::ZipArchive::new(file).expect("an archive");
    let mut names: Vec<String> =
        archive.file_names().map(|name| name.expect("a name of text").into_owned()).collect();
    names.sort();
    for (at, name) in names.iter().enumerate().skip(first).step_by(2) {
        let mut bytes = Vec::new();
        archive.by_name(name).expect("listed").read_to_end(&mut bytes).expect("unpacks");
        std::fs::File::create(to.join(format!("{at:04}")))
            .and_then(|mut file| file.write_all(&bytes))
            .expect("written");
    }
}

const SAME: &str =
    "tests/validation/tests/page.rs `the_same_plate_seen_anew_has_the_same_far_ends`";
const HALVES: &str =
    "tests/validation/tests/page.rs `with_half_the_slices_an_end_that_moves_far_is_doubted`";

fn row(id: &'static str, what: String, (errors, unit): (&[f64], &str)) -> Row {
    Row {
        id,
        what,
        source: "none: ours twice".to_owned(),
        tag: Tag::Own,
        figures: figures(errors, unit),
        test: SAME,
        needs_scan: false,
    }
}

pub(super) fn section(world: &World) -> Section {
    let mut rows = Vec::new();
    for (ids, what, change) in [
        (["repeat-noise", "repeat-noise-hu"], "two draws of noise", anew as fn(&mut Recipe)),
        (["repeat-voxel", "repeat-voxel-hu"], "voxels of 0.9 and 0.7 mm", finer),
        (["repeat-turned", "repeat-turned-hu"], "the patient turned by 13, -9 and 31°", turned),
    ] {
        let found = twice(&SCENES, change);
        rows.push(row(ids[0], format!("far end: {what}"), (&found.far_mm, "mm")));
        rows.push(row(ids[1], format!("thread mean: {what}"), (&found.thread_hu, "HU")));
    }
    let halves = Halves::of(world).unwrap_or_default();
    let scan = "a real pelvis with all slices (3 mm) and either half of them (6 mm)";
    rows.extend(
        [
            row(
                "repeat-slices",
                format!("far end: {scan}, where the tool stands by its end in both"),
                (&halves.sure.far_mm, "mm"),
            ),
            row(
                "repeat-slices-doubted",
                format!("far end: {scan}, where it doubts its end in one or both"),
                (&halves.doubted.far_mm, "mm"),
            ),
            row(
                "repeat-slices-hu",
                format!("thread mean: {scan}, where the tool stands by its end in both"),
                (&halves.sure.thread_hu, "HU"),
            ),
        ]
        .map(|row| Row { test: HALVES, needs_scan: true, ..row }),
    );
    Section {
        title: "Repeatability",
        claim: "The same bone gives the same answer.".to_owned(),
        heads: ERROR_HEADS.to_vec(),
        rows,
        remarks: "Differences are second less first; four scenes with blur 0.6 mm and 15 HU of noise. Thread means are compared where both gave the same length. Slices of 6 mm are far beyond what the tool advises (`docs/ct-protocol.md`). There a wall of 1 to 2 mm has gaps, so a path that grazes one leaves the bone at another place altogether: the first exit jumps by centimetres, and the comparison is of two different ends. The tool says so: it doubts an end with `path.no_cortex`, `path.bone_again` or `path.leaves_scan`, and the two kinds stand in rows of their own.".to_owned(),
    }
}
