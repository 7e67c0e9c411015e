//! `cohort.html`: what ran, what was refused, how the holes are distributed,
//! which stand out, what is missing.
//!
//! Collected while the tables are written, in memory that does not grow with
//! the number of holes; of cases, only the first [`INDEXED`] are listed.

mod errors;
mod extremes;
mod histogram;
mod page;
mod plot;
mod script;
mod style;

use std::collections::BTreeMap;

use super::GRADES;
use super::line::Line;
use super::manifest::{Manifest, Row};
use super::record::Outcome;
use super::table::{Cell, HOLES};
use errors::Errors;
use extremes::Extremes;
use histogram::Histogram;

/// Cases in the page's list: about 50 bytes each, so that the page stays near
/// a megabyte and opens at once.
const INDEXED: usize = 20_000;

/// Ids named for one code; the rest are counted.
const EXAMPLES: usize = 8;

/// Cases without a final record that are named.
const UNFINISHED: usize = 50;

/// A quantity whose distribution is drawn.
pub(super) struct Measure {
    pub(super) column: &'static str,
    pub(super) title: &'static str,
    pub(super) unit: &'static str,
    /// Lower end of the bins and width of one.
    pub(super) bins: (f64, f64, usize),
}

impl Measure {
    /// A value as a report shows it: 0.1 mm, 1 HU.
    fn shown(&self, value: f64) -> String {
        let decimals = usize::from(self.unit == "mm");
        let text = format!("{value:.decimals$}");
        if text.trim_start_matches(['-', '0', '.']).is_empty() {
            text.trim_start_matches('-').to_owned()
        } else {
            text.replace('-', "\u{2212}")
        }
    }
}

/// Ranges hold what pelvic bone can give, with room; values outside are
/// counted in the end bins and named as they are.
pub(super) const MEASURES: [Measure; 4] = [
    Measure { column: "bone_depth_mm", title: "Bone depth", unit: "mm", bins: (0.0, 0.5, 320) },
    Measure { column: "purchase_mm", title: "Purchase", unit: "mm", bins: (0.0, 0.5, 240) },
    Measure {
        column: "hu.thread.mean",
        title: "HU around the thread",
        unit: "HU",
        bins: (-500.0, 10.0, 300),
    },
    Measure { column: "side_wall_mm", title: "Side wall", unit: "mm", bins: (-15.0, 0.25, 240) },
];

/// Everything the page shows.
pub(super) struct Overview<'a> {
    manifest: &'a Manifest,
    done: usize,
    refused: usize,
    unfinished: usize,
    unfinished_named: Vec<(usize, String)>,
    refusals: BTreeMap<String, Tally>,
    findings: BTreeMap<String, Tally>,
    regions: BTreeMap<String, Region>,
    present: Vec<u64>,
    holes: u64,
    index: Vec<Indexed>,
    errors: Option<Errors>,
    places: Places,
}

/// Where the columns that the page reads stand among a hole's cells.
struct Places {
    measures: [usize; MEASURES.len()],
    region: usize,
    id: usize,
    grade: usize,
}

/// How often a code occurred.
#[derive(Default)]
struct Tally {
    cases: usize,
    times: usize,
    examples: Vec<(usize, String)>,
}

/// Holes of one region.
struct Region {
    measures: Vec<(Histogram, Extremes)>,
    grades: [u64; GRADES.len()],
}

/// One line of the list of cases.
struct Indexed {
    case: String,
    has_page: bool,
    outcome: Option<Outcome>,
    grades: [u64; GRADES.len()],
    findings: usize,
}

impl<'a> Overview<'a> {
    pub(super) fn new(manifest: &'a Manifest) -> Self {
        let at = |name: &str| HOLES.iter().position(|c| c.name == name).unwrap_or_default();
        Self {
            manifest,
            done: 0,
            refused: 0,
            unfinished: 0,
            unfinished_named: Vec::new(),
            refusals: BTreeMap::new(),
            findings: BTreeMap::new(),
            regions: BTreeMap::new(),
            present: vec![0; HOLES.len()],
            holes: 0,
            index: Vec::new(),
            errors: manifest.has_truth().then(Errors::default),
            places: Places {
                measures: MEASURES.map(|m| at(m.column)),
                region: at("region"),
                id: at("id"),
                grade: at("purchase"),
            },
        }
    }

    /// A case without a final record.
    pub(super) fn unfinished(&mut self, row: &Row) {
        self.unfinished += 1;
        if self.unfinished_named.len() < UNFINISHED {
            self.unfinished_named.push((row.number, row.case.clone()));
        }
        self.note(Indexed {
            case: row.case.clone(),
            has_page: false,
            outcome: None,
            grades: [0; GRADES.len()],
            findings: 0,
        });
    }

    /// A case with one.
    ///
    /// - `has_page`: asked only of cases that are listed.
    pub(super) fn case(&mut self, row: &Row, line: &Line, has_page: impl Fn() -> bool) {
        let tallies = if line.outcome == Outcome::Done {
            self.done += 1;
            &mut self.findings
        } else {
            self.refused += 1;
            &mut self.refusals
        };
        let mut codes: Vec<&str> =
            line.findings.iter().filter_map(|f| f["code"].as_str()).collect();
        codes.sort_unstable();
        for same in codes.chunk_by(|a, b| a == b) {
            let tally = tallies.entry(same[0].to_owned()).or_default();
            tally.cases += 1;
            tally.times += same.len();
            if tally.examples.len() < EXAMPLES {
                tally.examples.push((row.number, row.case.clone()));
            }
        }
        let count = |grade: &&str| {
            let graded = |hole: &&serde_json::Map<String, serde_json::Value>| {
                hole.get("purchase").is_some_and(|p| p == *grade)
            };
            line.holes.iter().filter(graded).count() as u64
        };
        let grades = std::array::from_fn(|i| count(&GRADES[i]));
        let findings = if line.outcome == Outcome::Done { line.findings.len() } else { 0 };
        let has_page = self.index.len() < INDEXED && has_page();
        let outcome = Some(line.outcome);
        self.note(Indexed { case: row.case.clone(), has_page, outcome, grades, findings });
    }

    /// A hole: its cells after the keys, and answers and errors where known.
    pub(super) fn hole(&mut self, row: &Row, cells: &[Cell], judged: &[Cell]) {
        self.holes += 1;
        for (count, cell) in self.present.iter_mut().zip(cells) {
            *count += u64::from(*cell != Cell::Empty);
        }
        let text = |at: usize| cells[at].as_text().unwrap_or_default();
        let name = match text(self.places.region) {
            "" => "not stated",
            name => name,
        };
        let region = self.regions.entry(name.to_owned()).or_insert_with(Region::new);
        let grade = text(self.places.grade);
        for (known, count) in GRADES.iter().zip(&mut region.grades) {
            *count += u64::from(*known == grade);
        }
        for (at, (histogram, extremes)) in self.places.measures.iter().zip(&mut region.measures) {
            if let Some(value) = cells[*at].as_real() {
                histogram.add(value);
                extremes.add(value, row.number, text(self.places.id));
            }
        }
        if let Some(errors) = &mut self.errors {
            errors.add(row.number, judged);
        }
    }

    fn note(&mut self, noted: Indexed) {
        if self.index.len() < INDEXED {
            self.index.push(noted);
        }
    }
}

impl Region {
    fn new() -> Self {
        let measure = |m: &Measure| (Histogram::new(m.bins), Extremes::default());
        Self { measures: MEASURES.iter().map(measure).collect(), grades: [0; GRADES.len()] }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn manifest(cases: usize) -> Manifest {
        let home = tempfile::tempdir().expect("a folder to work in");
        let path = home.path().join("m.csv");
        let rows: String = (1..=cases).map(|n| ["c", &n.to_string(), ",s,p\n"].concat()).collect();
        std::fs::write(&path, ["case,scan,plan\n", &rows].concat()).expect("written");
        Manifest::read(&path).expect("sound")
    }

    #[test]
    fn a_hole_far_from_the_others_is_named_with_its_case() {
        let manifest = manifest(40);
        let mut overview = Overview::new(&manifest);
        for (at, row) in manifest.rows().iter().enumerate() {
            let mut cells = vec![Cell::Empty; HOLES.len()];
            let depth = if at == 16 { 150.0 } else { 40.0 + at as f64 / 10.0 };
            cells[overview.places.measures[0]] = Cell::Real(depth);
            cells[overview.places.region] = Cell::Text("ilium".to_owned());
            cells[overview.places.id] = Cell::Text("a<b".to_owned());
            overview.hole(row, &cells, &[]);
        }
        let page = overview.page("A licensed surgeon decides.");
        let (_, outliers) = page.split_once("<h2>Outliers</h2>").expect("a section");
        let (outliers, _) = outliers.split_once("<h2>").expect("another follows");
        assert_eq!(outliers.matches("report.json").count(), 1);
        assert!(outliers.contains(">c17</a>") && outliers.contains("a&lt;b"), "{outliers}");
        assert!(page.contains("A licensed surgeon decides."));
    }

    #[test]
    fn the_page_of_very_many_cases_lists_the_first() {
        let manifest = manifest(INDEXED + 5);
        let mut overview = Overview::new(&manifest);
        for row in manifest.rows() {
            overview.unfinished(row);
        }
        let page = overview.page("");
        assert!(page.contains(&format!("\"c{INDEXED}\"")));
        assert!(!page.contains(&format!("\"c{}\"", INDEXED + 1)));
        assert!(page.contains(&format!("and {} more", INDEXED + 5 - UNFINISHED)));
        assert!(page.len() < 2_000_000, "{}", page.len());
    }
}
