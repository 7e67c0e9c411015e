//! The page of comparisons: rows name tests that exist, and the README names rows.

use std::fs;

use validation::claims::World;
use validation::{claims, real_scans, root};

fn committed() -> String {
    fs::read_to_string(root().join("docs/validation.md")).expect("the page is there")
}

/// Ids of the rows of the committed page, and what follows each.
fn rows(page: &str) -> Vec<(String, String)> {
    page.lines()
        .filter_map(|line| line.strip_prefix("| <a id=\"")?.split_once('"'))
        .map(|(id, rest)| (id.to_owned(), rest.to_owned()))
        .collect()
}

#[test]
fn every_row_names_a_test_that_exists() {
    let rows = rows(&committed());
    assert!(rows.len() > 30, "something was read: {}", rows.len());
    for (id, rest) in rows {
        let cell =
            rest.trim_end_matches(" |").rsplit(" | ").next().expect("a last cell").to_owned();
        let (file, name) = cell.split_once(" `").unwrap_or_else(|| panic!("{id}: {cell}"));
        let text = fs::read_to_string(root().join(file)).unwrap_or_else(|_| panic!("{id}: {file}"));
        let head = format!("fn {}(", name.trim_end_matches('`'));
        let at = text.find(&head).unwrap_or_else(|| panic!("{id}: no {head} in {file}"));
        // Its attributes stand between it and the empty line before.
        let attributes = text[..at].rsplit("\n\n").next().unwrap_or_default();
        assert!(attributes.contains("#[test]"), "{id}: {head} is no test");
    }
}

#[test]
fn every_row_of_a_scan_holds_figures() {
    for (id, rest) in rows(&committed()) {
        assert!(!rest.contains("not run"), "{id}");
    }
}

#[test]
fn every_link_of_the_readme_into_the_page_leads_to_a_row() {
    let readme = fs::read_to_string(root().join("README.md")).expect("the README is there");
    let ids: Vec<String> = rows(&committed()).into_iter().map(|(id, _)| id).collect();
    let links: Vec<&str> = readme
        .split("docs/validation.md#")
        .skip(1)
        .filter_map(|rest| rest.split(')').next())
        .collect();
    assert!(links.len() >= 10, "the claims are linked: {links:?}");
    for link in links {
        let heading = committed().contains(&format!("\n## {}\n", capital(&link.replace('-', " "))));
        assert!(heading || ids.iter().any(|id| id == link), "no row {link}");
    }
}

fn capital(words: &str) -> String {
    words[..1].to_uppercase() + &words[1..]
}

#[test]
fn every_claim_of_the_page_is_made_in_the_readme() {
    let readme = fs::read_to_string(root().join("README.md")).expect("the README is there");
    let page = committed();
    let mut looked_at = 0;
    for section in page.split("\n## ").skip(1) {
        let ids: Vec<String> = rows(section).into_iter().map(|(id, _)| id).collect();
        if ids.is_empty() {
            continue;
        }
        looked_at += 1;
        let title = section.lines().next().unwrap_or_default();
        let linked = ids.iter().any(|id| readme.contains(&format!("(docs/validation.md#{id})")));
        assert!(linked, "the README links to no row of {title}");
    }
    assert!(looked_at >= 13, "every section was looked at: {looked_at}");
}

#[test]
fn the_same_plate_seen_anew_has_the_same_far_ends() {
    // The tool promises half a voxel; of 0.9 mm.
    for worst_mm in claims::worst_of_a_plate_mm() {
        assert!(worst_mm <= 0.45, "{worst_mm} mm");
    }
}

#[test]
fn with_half_the_slices_an_end_that_moves_far_is_doubted() {
    let Some(halves) = claims::Halves::of(&World::of(&root(), real_scans())) else {
        aloud("skipped: no real scan");
        return;
    };
    assert!(halves.sure_mm().len() > 5, "something was compared");
    // Slices of 6 mm: an end that moves farther is another end.
    for off_mm in halves.sure_mm() {
        assert!(off_mm.abs() <= 6.0, "{off_mm} mm, and nothing was said");
    }
}

fn aloud(text: &str) {
    #[expect(clippy::print_stderr, reason = "a skipped test says so")]
    {
        eprintln!("{text}");
    }
}

#[test]
fn both_surfaces_of_real_bone_lie_within_half_a_voxel() {
    let world = World::of(&root(), real_scans());
    if world.scans.is_none() {
        aloud("skipped: no real scan");
        return;
    }
    let (there, back) = claims::surface_both_ways(&world).expect("the scan is there");
    assert!(there.len() > 100 && back.len() > 100, "something was compared");
    let rms = |all: &[f64]| (all.iter().map(|d| d * d).sum::<f64>() / all.len() as f64).sqrt();
    // Voxels of 1 × 1 × 3 mm: half of the shortest edge, and of the longest.
    for distances in [there, back] {
        let worst = distances.iter().copied().fold(0.0, f64::max);
        assert!(rms(&distances) <= 0.5 && worst <= 1.5, "RMS {}, worst {worst}", rms(&distances));
    }
}
