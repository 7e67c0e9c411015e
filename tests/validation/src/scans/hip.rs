//! A pelvis: what was read, its envelope and surface, ten paths.

use std::fmt::Write;
use std::path::Path;

use pilothole_assess::HoleResult;
use pilothole_bone::BoneName;
use pilothole_plan::Plan;
use pilothole_study::{Judged, PlanFile, read_plan};

use super::reading;
use crate::claims::{SIDES, World, judged};

/// A judged plan, kept by the world or made for a page.
pub(super) enum Found<'a> {
    Kept(&'a Judged),
    Made(Box<Judged>),
}

impl Found<'_> {
    fn get(&self) -> &Judged {
        match self {
            Self::Kept(judged) => judged,
            Self::Made(judged) => judged,
        }
    }
}

/// A pelvic scan and the plans on it.
pub(super) struct Pelvis {
    title: &'static str,
    what: &'static str,
    folder: &'static str,
    sides: &'static [&'static str],
    judged: for<'a> fn(&'a World, &Path, usize) -> (PlanFile, Found<'a>),
    /// Holes of each plan that stand in the table.
    holes: &'static [&'static str],
    remarks: &'static [&'static str],
}

pub(super) const NATIVE: Pelvis = Pelvis {
    title: "The native pelvis",
    what: "One adult, planning CT, 1 × 1 × 3 mm, both hips without implant (open data, Pelvic Reference Data, Yorke et al. 2019, doi 10.7937/TCIA.2019.woskq5oo).",
    folder: "pelvis_native_3mm",
    sides: &SIDES,
    judged: |world, _, side| {
        let found = world.native_judged(side).expect("the scan is there");
        (world.native_plan(side), Found::Kept(found))
    },
    holes: &["roof-back", "roof-mid", "seat-bone", "back-wall", "front"],
    remarks: &[
        "Plans and landmarks are of our own choosing by one reader; no surgeon has looked at them.",
        "With slices of 3 mm a wall thinner than about 2 mm is neither placed nor measured well: cortices in the table that are thicker than the published range are blur, not bone.",
        "The two hips are much alike: where rows of the same name differ by more than about 10 mm, one path meets something else than bone of the hip (another bone that touches, a wall that was not closed), and neither depth should be trusted before a look at the slices.",
        "A healthy roof is expected above the published medians, which lie beside and opposite a prosthesis in older people.",
        "The order found by others holds where roof and seat bone are denser than pubis and front wall (Inagaki N et al. 2022 BMC MSD 23, order confirmed, means not seen).",
    ],
};

pub(super) const METAL: Pelvis = Pelvis {
    title: "The pelvis with metal",
    what: "One adult, 3 × 3 × 3 mm, metal in the left femur, right hip untouched (open data, a test file of the TotalSegmentator package).",
    folder: "pelvis_metal_3mm",
    sides: &["right"],
    judged: |world, scans, _| {
        let plan = world.root.join("fixtures/plans/pelvis-metal-right.toml");
        let plan = read_plan(&plan).expect("the plan is sound");
        let scan = scans.join("pelvis_metal_3mm/series.zip");
        let found = judged(&scan, &plan).expect("the scan is judged");
        (plan, Found::Made(Box::new(found)))
    },
    holes: &[
        "roof-back",
        "roof-mid",
        "roof-high",
        "wing-1",
        "wing-2",
        "seat-bone",
        "seat-bone-2",
        "back-wall",
        "front",
        "floor",
    ],
    remarks: &[
        "Voxels of 3 mm resolve neither a joint space nor a cortex: places are good to a few millimetres, and HU of bone are averages over 27 mm³.",
        "The tube voltage and the kernel are not known, so no density is claimed beyond a wide band.",
        "The side with metal is not judged here: no plan of ours stands on it.",
    ],
};

pub(super) fn page(world: &World, scans: &Path, pelvis: &Pelvis) -> String {
    let series = scans.join(pelvis.folder).join("series.zip");
    let mut text = format!(
        "# {}\n\n{}\n\n## What was read\n\n{}",
        pelvis.title,
        pelvis.what,
        reading::table(&series)
    );
    let mut paths = String::new();
    for (at, side) in pelvis.sides.iter().enumerate() {
        let (plan, found) = (pelvis.judged)(world, scans, at);
        let judged = found.get();
        if at == 0 {
            text.push_str("\n## Envelope and surface\n");
        }
        text.push_str(&envelope(side, judged));
        for name in pelvis.holes {
            let hole = plan.plan.holes.iter().position(|hole| hole.id == *name);
            let at = hole.expect("the plan has the hole");
            paths.push_str(&path(side, &plan.plan, &judged.holes[at]));
        }
    }
    text.push_str(
        "\n## Ten paths\n\n\
         | side | hole | region | depth, mm | cortex near, far, mm | thread mean, HU | length, mm | grade |\n\
         |---|---|---|---|---|---|---|---|\n",
    );
    text.push_str(&paths);
    text.push_str(&beside(world));
    text.push_str("\n## Remarks\n\n");
    let remarks: Vec<String> =
        pelvis.remarks.iter().map(|remark| format!("- {remark}\n")).collect();
    text + &remarks.concat()
}

/// Bones around one socket, and the surface of their envelope.
fn envelope(side: &str, judged: &Judged) -> String {
    let mut text = format!(
        "\nAround the {side} socket:\n\n| bone | volume, cm³ | below the threshold | goes on beyond the region |\n|---|---|---|---|\n"
    );
    let bones = &judged.prepared.bones;
    for record in bones.records.iter().filter(|record| record.volume_mm3 >= 1000.0) {
        let name = record.name.map_or("not named", bone_word);
        let goes_on = if record.cut { "yes" } else { "no" };
        // A string takes any text.
        let _written = writeln!(
            text,
            "| {} {name} | {:.1} | {:.1} % | {goes_on} |",
            record.label,
            record.volume_mm3 / 1000.0,
            100.0 * record.below_threshold_fraction
        );
    }
    let _written = match &judged.surface {
        Some(surface) => writeln!(
            text,
            "\nSurface: closed, {} triangles in {} parts, Euler number {}, {:.1} cm³.",
            surface.mesh().triangles.len(),
            surface.components().len(),
            surface.euler_number(),
            surface.volume_mm3() / 1000.0
        ),
        None => writeln!(text, "\nSurface: not closed."),
    };
    let findings = judged.findings.iter().filter(|finding| {
        ["bone.", "surface.", "metal.", "voxel.", "kvp."]
            .iter()
            .any(|f| finding.code.starts_with(f))
    });
    for finding in findings {
        let _written = writeln!(text, "- `{}`: {}", finding.code, finding.text);
    }
    text
}

fn bone_word(name: BoneName) -> &'static str {
    match name {
        BoneName::HipLeft => "left hip bone",
        BoneName::HipRight => "right hip bone",
        BoneName::Sacrum => "sacrum",
        BoneName::FemurLeft => "left femur",
        BoneName::FemurRight => "right femur",
        _ => "another bone",
    }
}

fn path(side: &str, plan: &Plan, found: &HoleResult) -> String {
    let number =
        |value: Option<f64>| value.map_or_else(|| "unknown".to_owned(), |v| format!("{v:.1}"));
    let hole = &plan.holes[found.hole];
    let cortex = [found.near, found.far].map(|edge| number(edge.and_then(|e| e.cortex_mm)));
    format!(
        "| {side} | {} | {} | {} | {} | {} | {} | {} |\n",
        hole.id,
        hole.region.map_or("none", pilothole_plan::BoneRegion::word),
        number(found.bone_depth_mm()),
        cortex.join(", "),
        number(found.hu.map(|hu| hu.thread.mean)),
        found.length_mm.map_or_else(|| "none".to_owned(), |mm| format!("{mm:.0}")),
        found.grade.word()
    )
}

/// Published ranges that the table stands beside.
fn beside(world: &World) -> String {
    let value = |case: &str, quantity: &str| world.worked.value("published", case, quantity);
    let roof = |case: &str| {
        format!(
            "{:.1} HU ({:.1} to {:.1})",
            value(case, "median HU"),
            value(case, "least HU"),
            value(case, "most HU")
        )
    };
    format!(
        "\nPublished beside it: cancellous roof {} beside a prosthesis, {} on the other side (Boomsma MF et al., 317 people, confirmed); cortex of the pelvis {} to {} mm, mean {} mm (Anderson AE 2005, from memory); safe depth back and up {} mm in the mean (Park JY et al. 2021, confirmed). A thread's mean includes cortex, a region of interest in cancellous bone does not: the table's HU are expected higher.\n",
        roof("roof prosthesis side"),
        roof("roof other side"),
        value("pelvic cortex", "least mm"),
        value("pelvic cortex", "most mm"),
        value("pelvic cortex", "mean mm"),
        value("safe depth back and up", "mean mm"),
    )
}
