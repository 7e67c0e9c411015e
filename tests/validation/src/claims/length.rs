//! The recommended length.

use pilothole_phantom::{Recipe, SampleRecipe, SceneKind};
use rayon::prelude::*;

use super::{Section, World};
use crate::lengths::Lengths;
use crate::row::{Row, Tag};
use crate::solve::{solve, usual};

/// Phantoms drawn of every scene.
const DRAWN: usize = 5;
const SCENES: [SceneKind; 6] = [
    SceneKind::Plate,
    SceneKind::Ball,
    SceneKind::Tube,
    SceneKind::Ellipsoid,
    SceneKind::TwoBones,
    SceneKind::Edge,
];

/// Recipes of every scene with thickness, depth, marrow and pose drawn.
fn recipes(cortex_mm: [f64; 2], voxel_mm: f64) -> Vec<Recipe> {
    SCENES
        .iter()
        .flat_map(|scene| {
            let mut recipe = usual(*scene, voxel_mm);
            // An endless plate encloses no marrow: only bright marrow is its own.
            let endless = matches!(scene, SceneKind::Plate | SceneKind::TwoBones);
            let darkest = if endless { 240.0 } else { -60.0 };
            recipe.vary = [
                ("cortex_mm", cortex_mm),
                ("depth_mm", [24.0, 40.0]),
                ("cancellous_hu", [darkest, 350.0]),
                ("turn_l_deg", [-20.0, 20.0]),
                ("turn_p_deg", [-20.0, 20.0]),
                ("turn_s_deg", [-45.0, 45.0]),
                ("shift_l_mm", [-0.4, 0.4]),
            ]
            .map(|(field, ends)| (field.to_owned(), ends.to_vec()))
            .into();
            recipe.sample = Some(SampleRecipe { count: DRAWN, seed: 5 });
            recipe.varied().expect("in range").into_iter().map(|(recipe, _)| recipe)
        })
        .collect()
}

/// Lengths over some recipes, and how many of which scene were not exact.
fn compared(recipes: &[Recipe]) -> (Lengths, String) {
    let solved: Vec<_> = recipes.par_iter().map(solve).collect();
    let (mut all, mut wrong) = (Lengths::default(), Vec::new());
    for scene in SCENES {
        let mut own = Lengths::default();
        for (one, _) in solved.iter().zip(recipes).filter(|(_, recipe)| recipe.scene == scene) {
            own.add_all(one);
            all.add_all(one);
        }
        if own.exact < own.holes {
            let count = own.holes - own.exact;
            wrong.push(format!("{} {count} of {}", words(scene), own.holes));
        }
    }
    (all, wrong.join(", "))
}

fn words(scene: SceneKind) -> &'static str {
    match scene {
        SceneKind::Plate => "plates",
        SceneKind::Ball => "balls",
        SceneKind::Tube => "tubes",
        SceneKind::Ellipsoid => "ellipsoids",
        SceneKind::TwoBones => "two bones",
        SceneKind::Edge => "plates on edge",
        _ => "others",
    }
}

pub(super) fn section(world: &World) -> Section {
    let row = |id, what: String, lengths: Lengths| Row {
        id,
        what,
        source: "closed form of the phantoms".to_owned(),
        tag: Tag::Derived,
        figures: lengths.figures(),
        test: "tests/truth.rs `without_blur_ends_lengths_and_hu_are_those_of_the_closed_form`",
        needs_scan: false,
    };
    let set = |cortex: &str| {
        format!(
            "{} phantoms of six scenes, cortices of {cortex} mm, voxels of 0.9 mm, blur 0.6 mm, 15 HU of noise",
            SCENES.len() * DRAWN
        )
    };
    let (thick, thick_wrong) = compared(&recipes([1.5, 3.0], 0.9));
    let (thin, thin_wrong) = compared(&recipes([0.6, 1.5], 0.9));
    let human = |case: &str| world.worked.value("published", case, "right size %");
    Section {
        title: "Recommended length",
        claim: "The length to order is the stocked one that the plan's policy asks for.".to_owned(),
        heads: Lengths::HEADS.to_vec(),
        rows: vec![
            row("length-thick", set("1.5 to 3"), thick),
            row("length-thin", set("0.6 to 1.5"), thin),
        ],
        remarks: format!(
            "Marrow from fat (-60 HU) to dense (350 HU), in endless plates from 240 HU, as nothing encloses theirs; thickness of 24 to 40 mm, poses drawn by seed; stock in steps of 5 mm. Not exact among thick cortices: {thick_wrong}; among thin ones: {thin_wrong}. Beside it, people: a depth gauge finds the right size in {} % (Eur J Trauma Emerg Surg 2025;51:360, confirmed), surgeons in {} to {} % by experience and {} % in angled holes (Liu P 2022 Front Surg 8:774682, confirmed). Those are measured in bone, ours in phantoms: the figures stand beside each other and are not the same trial.",
            human("depth gauge"),
            human("surgeon junior"),
            human("surgeon senior"),
            human("surgeon angled hole"),
        ),
    }
}
