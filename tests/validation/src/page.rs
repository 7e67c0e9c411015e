//! The page of comparisons.

use std::fmt::Write;

use crate::broken;
use crate::claims::{Section, World, sections};
use crate::picture::{Picture, pictures};
use crate::row::Row;

/// Where it lies in the repository.
pub const PLACE: &str = "docs/validation.md";

const HEAD: &str = "# What was compared with the outside world

Made by `cargo run --release -p validation`; nothing here is typed by hand but sources and remarks.
`.ci/run` runs the same with `--check`: text and counts must be equal, a figure may differ by one unit of its last digit.

- **tag**: how sure the outside value is. *confirmed*: seen in an opened text. *derived*: follows from a definition. *from memory*: a formula or coefficient not seen in print. *recorded*: from running another program; `tests/reference/run` runs it again. *own*: ours a second time, no outside value.
- **bias** is the mean of found less true, **RMS** the root of the mean square, **worst** the largest size.
- **share** as a unit means found over true, less one; differences below a billionth are the rounding of floating-point numbers.
- A row marked † needs a real scan, which is not in the repository; without it the committed row stands and the check says so.
- The last column names the test that holds the claim.
";

const TAIL: &str = "
## Real scans

One page each: [the native pelvis](scans/native.md), [the pelvis with metal](scans/metal.md), [the density phantom](scans/density-phantom.md), [troublesome series](scans/trouble.md).

## What is not shown

- **Known to be wrong**: two bones closer than about 1.7 blurs, other than at the hip's joint, are taken for one: at a blur of 0.6 mm from 0.75 mm down, at 0.9 mm from 1.5 mm down (made plates, 1.5 mm of cortex, voxels of 0.5 to 1 mm, 15 HU of noise). Where the scan ends soon, the path leaves it and no length is given; in a scan of 100 mm the length comes out 15 to 20 mm too long. `path.walls_within` tells of such a gap where the HU fall by a quarter between its walls; grade and length stay.
- Cortical thickness near a milled truth, density against a bone phantom in the same scan, strength of a pelvic screw, the length of a screw put in as planned, a clinical series.
- Phantoms have walls of one level and a Gaussian blur; bone has neither.
- Both pelvic scans have slices of 3 mm.
";

/// The page of a world, and its pictures.
///
/// - `committed`: the page as it is; rows that need a scan are taken from it
///   where there is none.
pub fn page(world: &World, committed: &str) -> (String, Vec<Picture>) {
    let mut text = HEAD.to_owned();
    let sections = sections(world);
    let pictures = pictures(world, &sections);
    for section in &sections {
        write_section(&mut text, section, world.scans.is_none().then_some(committed));
        for picture in pictures.iter().filter(|picture| picture.section == section.title) {
            let place = picture.place.trim_start_matches("docs/");
            // A string takes any text.
            let _written = write!(text, "\n![{}]({place})\n", picture.alt);
        }
    }
    text.push_str(&broken::table(&world.root));
    text.push_str(TAIL);
    (text, pictures)
}

fn write_section(text: &mut String, section: &Section, kept: Option<&str>) {
    let mut line = |words: &str| {
        // A string takes any text.
        let _written = writeln!(text, "{words}");
    };
    line(&format!("\n## {}\n\n{}", section.title, section.claim));
    if !section.rows.is_empty() {
        let heads = section.heads.join(" | ");
        line(&format!("\n| what | source | tag | {heads} | test |"));
        line(&format!("|---|---|---|{}---|", "---|".repeat(section.heads.len())));
    }
    for row in &section.rows {
        line(&shown(row, kept));
    }
    if !section.remarks.is_empty() {
        line(&format!("\n{}", section.remarks));
    }
}

/// A row, or the committed one where it cannot be made.
fn shown(row: &Row, kept: Option<&str>) -> String {
    let mark = format!("| <a id=\"{}\"></a>", row.id);
    let committed = kept
        .filter(|_| row.needs_scan)
        .and_then(|page| page.lines().find(|line| line.starts_with(&mark)).map(ToOwned::to_owned));
    committed.unwrap_or_else(|| {
        let scan = if row.needs_scan { " †" } else { "" };
        let figures = row.figures.join(" | ");
        let what = &row.what;
        format!("{mark}{what}{scan} | {} | {} | {figures} | {} |", row.source, row.tag, row.test)
    })
}
