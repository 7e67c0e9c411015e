//! Gathering: all shards' cases into three tables and a page.
//!
//! Case by case in the manifest's order, out of the parts where they have the
//! case and out of its folder where they do not; memory grows with the
//! manifest, not with the results. Everything is written aside and the folder
//! `tables` is put in place in one step.

use super::error::CohortError;
use super::line::Line;
use super::lock::{self, Workshop};
use super::manifest::{Manifest, Row};
use super::params::{GatherParams, GatherSummary, Named};
use super::part::{self, Lines};
use super::place::{Place, new_folder, put_folder, sync_folder};
use super::summary::Overview;
use super::table::{CASES, Cell, Column, FINDINGS, HOLES, Schema, Table};
use super::truth::Truth;

/// Unfinished cases that are named; the rest are counted.
const NAMED: usize = 100;

/// Gather the tables and the summary page.
///
/// The bytes depend on the manifest and the cases' results alone: not on the
/// number of shards, nor on the order in which anything ran.
///
/// # Errors
///
/// [`CohortError`] where the tables could not be written; the earlier ones
/// stand then.
pub fn gather(params: &GatherParams) -> Result<GatherSummary, CohortError> {
    let manifest = Manifest::read(&params.manifest)?;
    Schema::check(&manifest)?;
    let place = Place::open(&params.out)?;
    let _held = lock::to_gather(&place)?;
    let left = lock::leavings(&place, false);
    let workshop = Workshop::open(&place)?;
    let cannot = || CohortError::cannot("write in the output folder");
    let room = new_folder("gather.", workshop.path()).map_err(cannot())?;
    let folder = room.path().join("tables");
    std::fs::create_dir(&folder).map_err(cannot())?;
    let mut tables = Tables {
        place: &place,
        has_truth: manifest.has_truth(),
        cases: Table::begin(&folder, "cases", Schema::cases(&manifest))?,
        holes: Table::begin(&folder, "holes", Schema::holes(&manifest))?,
        findings: Table::begin(&folder, "findings", Schema::findings())?,
    };
    let mut overview = Overview::new(&manifest);
    let mut summary = GatherSummary {
        cases: manifest.rows().len(),
        left_by_the_dead: left.dead,
        still_at_work: left.alive,
        ..GatherSummary::default()
    };
    let mut source = Source { lines: Lines::open(&place), recipe: place.recipe()?, place: &place };
    for row in manifest.rows() {
        let line = source.line(row);
        tables.case(row, line.as_ref(), &mut overview, &mut summary)?;
    }
    tables.finish()?;
    let page = overview.page(&params.caution).into_bytes();
    super::place::put(&folder.join("cohort.html"), &page, room.path()).map_err(cannot())?;
    sync_folder(&folder).map_err(cannot())?;
    put_folder(&folder, &place.tables(), &room.path().join("aside")).map_err(cannot())?;
    Ok(summary)
}

/// Where lines come from.
struct Source<'a> {
    lines: Lines,
    recipe: Option<String>,
    place: &'a Place,
}

impl Source<'_> {
    /// The line of a row, if the case has a record that is of this row and of
    /// the latest recipe.
    fn line(&mut self, row: &Row) -> Option<Line> {
        let recipe = self.recipe.as_deref()?;
        let places = self.place.key().of_places(&row.written);
        let holds = |l: &Line| l.case == row.case && l.recipe == recipe && l.places == places;
        self.lines
            .line(row.number)
            .filter(holds)
            .or_else(|| part::line_of(self.place, row).filter(holds))
    }
}

struct Tables<'a> {
    place: &'a Place,
    has_truth: bool,
    cases: Table,
    holes: Table,
    findings: Table,
}

impl Tables<'_> {
    fn case(
        &mut self,
        row: &Row,
        line: Option<&Line>,
        overview: &mut Overview<'_>,
        summary: &mut GatherSummary,
    ) -> Result<(), CohortError> {
        let keys = [Cell::count(row.number), Cell::Text(row.case.clone())];
        let own: Vec<Cell> = row.own.iter().cloned().map(Cell::text).collect();
        let Some(line) = line else {
            summary.unfinished_count += 1;
            if summary.unfinished.len() < NAMED {
                let case = row.case.clone();
                summary.unfinished.push(Named { row: row.number, case, what: () });
            }
            overview.unfinished(row);
            let mut cells = vec![Cell::Empty; CASES.len()];
            cells[0] = Cell::Text("unfinished".to_owned());
            return self.cases.push([&keys[..], &cells, &own].concat());
        };
        let truth = self.has_truth.then(|| truth_of(row, summary));
        self.cases.push([&keys[..], &cells(&CASES, &line.values), &own].concat())?;
        overview.case(row, line, || self.place.case(&row.case).join("report.html").exists());
        for values in &line.holes {
            let measured = cells(&HOLES, values);
            let errors = truth.as_ref().map(|t| t.cells(values)).unwrap_or_default();
            overview.hole(row, &measured, &errors);
            self.holes.push([&keys[..], &measured, &errors, &own].concat())?;
        }
        for values in &line.findings {
            self.findings.push([&keys[..], &cells(&FINDINGS, values)].concat())?;
        }
        summary.holes += line.holes.len();
        match line.outcome {
            super::record::Outcome::Done => summary.done += 1,
            _ => summary.refused += 1,
        }
        Ok(())
    }

    fn finish(self) -> Result<(), CohortError> {
        self.cases.finish()?;
        self.holes.finish()?;
        self.findings.finish()
    }
}

/// The known answers; none where the row names none.
fn truth_of(row: &Row, summary: &mut GatherSummary) -> Truth {
    let read = row.truth.as_deref().map(Truth::read);
    summary.truths_unread += usize::from(matches!(read, Some(None)));
    read.flatten().unwrap_or_default()
}

/// Cells in the order of the columns. A line of a part holds only what its
/// columns can take; anything else counts as no value.
fn cells(columns: &[Column], values: &serde_json::Map<String, serde_json::Value>) -> Vec<Cell> {
    let cell = |column: &Column| Cell::from_json(column.kind, values.get(column.name));
    columns.iter().map(|column| cell(column).unwrap_or(Cell::Empty)).collect()
}
