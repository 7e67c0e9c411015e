//! `docs/codes.md` lists the codes that the source makes, and no others.

use std::collections::BTreeSet;
use std::fs;

use pilothole_tests::{files_below, root};

/// Families of codes; words of the same shape in other families are names of
/// files or parameters.
const FAMILIES: [&str; 30] = [
    "plan",
    "scan",
    "geometry",
    "pixels",
    "units",
    "limits",
    "identity",
    "voxel",
    "kernel",
    "kvp",
    "metal",
    "path",
    "length",
    "side",
    "clash",
    "access",
    "calibration",
    "bone",
    "grade",
    "strength",
    "guides",
    "order",
    "set",
    "load",
    "reconstruction",
    "kit",
    "landmark",
    "surface",
    "stock",
    "refine",
];

/// Names of parameters, files and report columns that look like codes.
const NOT_CODES: [&str; 55] = [
    "bone.axis_reach",
    "bone.cancellous_hu",
    "bone.cortex_hu",
    "bone.cortex_mm",
    "bone.depth_mm",
    "bone.gap_mm",
    "bone.margin",
    "bone.metal",
    "bone.metal_margin",
    "bone.outside_hu",
    "bone.stl",
    "bone.threshold",
    "bone.threshold_hu",
    "bone.untrusted_share",
    "blur.sd_share",
    "calibration.intercept",
    "calibration.slope",
    "cortex.farthest_off",
    "cortex.own_level_from",
    "cortex.steepest",
    "cortex.unexplained_sd",
    "grade.fair_hu",
    "grade.fair_purchase",
    "grade.good_bicortical",
    "grade.good_hu",
    "grade.good_purchase",
    "grade.least_purchase",
    "grade.least_trust",
    "bone.cement",
    "kit.csv",
    "path.air",
    "path.air_run",
    "path.least_contrast",
    "path.reach",
    "path.step",
    "path.thickest_cortex",
    "path.wobble",
    "plan.toml",
    "scan.column_mm",
    "scan.columns",
    "scan.digest",
    "scan.kernel",
    "scan.kvp",
    "scan.row_mm",
    "scan.rows",
    "scan.slice_mm",
    "scan.slices",
    "order.not_computed",
    "reconstruction.not_computed",
    "robust.not_computed",
    "refine.json",
    "stock.csv",
    "stock.html",
    "stock.npy",
    "stock.ply",
];

/// Words in quotes of the shape `family.word`.
fn quoted(text: &str) -> impl Iterator<Item = &str> {
    text.split('"').skip(1).step_by(2).filter(|word| {
        let mut parts = word.split('.');
        let (family, name) = (parts.next(), parts.next());
        parts.next().is_none()
            && family.is_some_and(|f| FAMILIES.contains(&f))
            && name.is_some_and(|n| {
                !n.is_empty() && n.chars().all(|c| c.is_ascii_lowercase() || c == '_')
            })
    })
}

#[test]
fn the_page_of_codes_and_the_source_agree() {
    let page = fs::read_to_string(root().join("docs/codes.md")).expect("the page is there");
    let listed: BTreeSet<&str> =
        page.lines().filter_map(|line| line.strip_prefix("| `")?.split('`').next()).collect();
    let mut made = BTreeSet::new();
    for file in files_below(&root().join("crates")) {
        let inside = file.components().any(|c| c.as_os_str() == "src");
        if inside && file.extension().is_some_and(|ext| ext == "rs") {
            let text = fs::read_to_string(&file).expect("readable");
            let lines: Vec<&str> =
                text.lines().take_while(|l| l.trim() != "#[cfg(test)]").collect();
            for word in lines.iter().flat_map(|line| quoted(line)) {
                made.insert(word.to_owned());
            }
        }
    }
    let missing: Vec<&String> = made
        .iter()
        .filter(|code| !listed.contains(code.as_str()) && !NOT_CODES.contains(&code.as_str()))
        .collect();
    assert!(missing.is_empty(), "not in docs/codes.md: {missing:?}");
    assert!(made.len() > 100, "something was read: {}", made.len());
}
