//! One line of a part: what the tables need of a case, out of its report.

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use super::record::{Outcome, Reason, Record};
use super::table::{CASES, Cell, Column, FINDINGS, HOLES, pointed};

/// A case as the tables see it. Values are named as the columns are; empty
/// ones are left out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Line {
    pub(crate) row: usize,
    pub(crate) case: String,
    pub(crate) outcome: Outcome,
    pub(crate) recipe: String,
    pub(crate) places: String,
    pub(crate) values: Map<String, Value>,
    pub(crate) holes: Vec<Map<String, Value>>,
    pub(crate) findings: Vec<Map<String, Value>>,
}

/// A report that is not what the tables expect.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("its report holds something unexpected at `{at}`")]
pub(crate) struct LineError {
    pub(crate) at: &'static str,
}

impl Line {
    /// Of a case with a report.
    ///
    /// # Errors
    ///
    /// [`LineError`] where a value has another type than its column.
    pub(crate) fn of_report(
        row: usize,
        record: &Record,
        report: &Value,
    ) -> Result<Self, LineError> {
        let list = |at: &'static str| match report.pointer(at) {
            Some(Value::Array(items)) => Ok(items.as_slice()),
            None | Some(Value::Null) => Ok(&[][..]),
            Some(_) => Err(LineError { at }),
        };
        let (holes, findings, order) = (list("/holes")?, list("/findings")?, list("/order")?);
        let bare = Self::bare(row, record);
        let mut values = named(&CASES, report)?;
        values.extend(bare.values.clone());
        count_grades(&mut values, holes);
        set(&mut values, "clashes", &Cell::count(list("/set/clash")?.len()));
        set(&mut values, "findings", &Cell::count(findings.len()));
        let hole_lines = holes.iter().enumerate().map(|(position, hole)| {
            let mut values = named(&HOLES, hole)?;
            set(&mut values, "hole", &Cell::count(position + 1));
            place_in_order(&mut values, hole, order);
            let about = findings.iter().filter(|f| is_about(f, hole)).count();
            set(&mut values, "findings", &Cell::count(about));
            Ok(values)
        });
        let holes = hole_lines.collect::<Result<_, LineError>>()?;
        let finding_lines = findings.iter().enumerate().map(|(position, finding)| {
            let mut values = named(&FINDINGS, finding)?;
            set(&mut values, "number", &Cell::count(position + 1));
            set(&mut values, "kind", &Cell::text("finding".to_owned()));
            Ok(values)
        });
        let findings = finding_lines.collect::<Result<_, LineError>>()?;
        Ok(Self { values, holes, findings, ..bare })
    }

    /// Of a case that was refused.
    pub(crate) fn of_refusal(row: usize, record: &Record) -> Self {
        let mut line = Self::bare(row, record);
        let codes: Vec<&str> = record.refused.iter().map(|r| r.code.as_str()).collect();
        set(&mut line.values, "refused", &Cell::text(codes.join(" ")));
        line.findings = record.refused.iter().enumerate().map(refusal).collect();
        line
    }

    fn bare(row: usize, record: &Record) -> Self {
        let mut values = Map::new();
        set(&mut values, "outcome", &Cell::text(record.outcome.word().to_owned()));
        set(&mut values, "input", &Cell::text(record.input.clone()));
        Self {
            row,
            case: record.case.clone(),
            outcome: record.outcome,
            recipe: record.recipe.clone(),
            places: record.places.clone(),
            values,
            holes: Vec::new(),
            findings: Vec::new(),
        }
    }
}

fn named(columns: &[Column], json: &Value) -> Result<Map<String, Value>, LineError> {
    let mut values = Map::new();
    for pair in pointed(columns, json) {
        let (name, cell) = pair.map_err(|at| LineError { at })?;
        set(&mut values, name, &cell);
    }
    Ok(values)
}

fn set(values: &mut Map<String, Value>, name: &str, cell: &Cell) {
    if let Some(json) = cell.to_json() {
        values.insert(name.to_owned(), json);
    }
}

fn count_grades(values: &mut Map<String, Value>, holes: &[Value]) {
    set(values, "holes", &Cell::count(holes.len()));
    for grade in super::GRADES {
        let count = holes.iter().filter(|hole| hole["purchase"] == *grade).count();
        set(values, grade, &Cell::count(count));
    }
    let no_length = holes.iter().filter(|hole| hole["length_mm"].is_null()).count();
    set(values, "no_length", &Cell::count(no_length));
}

fn place_in_order(values: &mut Map<String, Value>, hole: &Value, order: &[Value]) {
    let Some(step) = order.iter().find(|step| step["hole"] == hole["id"]) else { return };
    if let Some(number) = step["step"].as_i64() {
        set(values, "order", &Cell::Whole(number));
    }
    if let Some(guide) = step["guide"].as_str() {
        set(values, "guide", &Cell::text(guide.to_owned()));
    }
}

fn is_about(finding: &Value, hole: &Value) -> bool {
    let id = &hole["id"];
    !id.is_null() && (finding["hole"] == *id || finding["other"] == *id)
}

fn refusal((position, reason): (usize, &Reason)) -> Map<String, Value> {
    let mut values = Map::new();
    let real = |number: Option<f64>| number.map_or(Cell::Empty, Cell::Real);
    set(&mut values, "number", &Cell::count(position + 1));
    set(&mut values, "kind", &Cell::text("refusal".to_owned()));
    set(&mut values, "code", &Cell::text(reason.code.clone()));
    set(&mut values, "text", &Cell::text(reason.text.clone()));
    set(&mut values, "measured", &real(reason.measured));
    set(&mut values, "limit", &real(reason.limit));
    set(&mut values, "unit", &Cell::text(reason.unit.clone().unwrap_or_default()));
    values
}
