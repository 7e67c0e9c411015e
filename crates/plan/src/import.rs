//! Holes from a table, as a CAD program exports them.

use pilothole_volume::{Offset, PatientPoint};

use crate::check::plan_from_tree;
use crate::model::Plan;
use crate::nearest::nearest_word;
use crate::problem::{Format, PlanProblem, PlanRefusal};
use crate::rigid::{Rigid, RigidError, RigidFit, fit_rigid};
use crate::schema::shown;
use crate::tree::{Field, Kind, Node};

/// How the table's coordinates become the plan's.
#[derive(Clone, Debug, PartialEq)]
pub enum Frame {
    /// They are the plan's.
    Same,
    /// A 4×4 matrix, rows, that acts on columns (x, y, z, 1), mm.
    Matrix([[f64; 4]; 4]),
    /// Three or more points: in the table's coordinates, in the plan's.
    Pairs(Vec<(PatientPoint, PatientPoint)>),
}

/// A plan with the holes of a table.
#[derive(Clone, Debug, PartialEq)]
pub struct Imported {
    /// The base plan with the table's holes after its own, LPS.
    pub plan: Plan,
    /// The fit and its residuals, where the frame was given by pairs.
    pub fit: Option<RigidFit>,
}

/// Columns that a table must have.
const NEEDED: [&str; 8] =
    ["id", "seat_x", "seat_y", "seat_z", "direction_x", "direction_y", "direction_z", "screw"];
/// Columns that it may have; an empty cell says nothing.
const OPTIONAL: [&str; 5] = ["zone", "region", "length_mm", "swivel_deg", "seat_shift_mm"];
/// Other names of columns: as read, as meant.
const ALIASES: [(&str, &str); 8] = [
    ("thread", "screw"),
    ("length", "length_mm"),
    ("seat_x_mm", "seat_x"),
    ("seat_y_mm", "seat_y"),
    ("seat_z_mm", "seat_z"),
    ("x", "seat_x"),
    ("y", "seat_y"),
    ("z", "seat_z"),
];

/// Add the holes of a CSV table to a plan.
///
/// - `base`: a plan as TOML, with or without holes.
/// - `table`: comma or semicolon separated, decimal points, with a head: `id`,
///   `seat_x`, `seat_y`, `seat_z`, `direction_x`, `direction_y`,
///   `direction_z`, `screw` (or `thread`), and optionally `length_mm` (or
///   `length`), `zone` (cup unless said), `region`, `swivel_deg`,
///   `seat_shift_mm`.
/// - `frame`: takes the table's points, mm, to the coordinates that `base`
///   declares; a mirrored or scaled frame is refused.
///
/// # Errors
///
/// [`PlanRefusal`]; lines of problems with holes are the table's.
pub fn import_plan(base: &str, table: &str, frame: &Frame) -> Result<Imported, PlanRefusal> {
    let (motion, fit) = resolve(frame).map_err(|e| frame_problem(&e))?;
    let mut root = Node::parse(base, Format::Toml)?;
    let rows = rows(table, &motion)?;
    if let Kind::Table(fields) = &mut root.kind {
        match fields.iter_mut().find(|f| f.name == "hole") {
            Some(Field { value: Node { kind: Kind::List(holes), .. }, .. }) => holes.extend(rows),
            _ => fields.push(Field {
                name: "hole".to_owned(),
                line: 1,
                value: Node { line: 1, kind: Kind::List(rows) },
            }),
        }
    }
    Ok(Imported { plan: plan_from_tree(&root)?, fit })
}

fn resolve(frame: &Frame) -> Result<(Rigid, Option<RigidFit>), RigidError> {
    match frame {
        Frame::Same => Ok((Rigid::IDENTITY, None)),
        Frame::Matrix(rows) => Rigid::from_matrix(*rows).map(|motion| (motion, None)),
        Frame::Pairs(pairs) => fit_rigid(pairs).map(|fit| (fit.motion, Some(fit))),
    }
}

fn frame_problem(error: &RigidError) -> PlanRefusal {
    let problem = PlanProblem::new("plan.range", 0, format!("the table's frame: {error}"));
    let problem = match *error {
        RigidError::TooFew { count } => problem.measured(count as f64, 3.0, None),
        RigidError::OnALine { width_mm, limit_mm } => {
            problem.measured(width_mm, limit_mm, Some("mm"))
        }
        RigidError::Mirrored { rms_mm, mirrored_rms_mm } => problem
            .measured(rms_mm, mirrored_rms_mm, Some("mm"))
            .next("one of the two systems is left-handed, or left and right are swapped"),
        RigidError::Poor { rms_mm, limit_mm } => problem
            .measured(rms_mm, limit_mm, Some("mm"))
            .next("check that the pairs are in the same order and both in millimetres"),
        RigidError::NotAMotion { by, limit } => problem
            .measured(by, limit, None)
            .next("a matrix in metres or inches scales; give it in millimetres"),
        RigidError::Mirrors | RigidError::NotFinite => problem,
    };
    PlanRefusal::new(vec![problem])
}

fn rows(table: &str, motion: &Rigid) -> Result<Vec<Node>, PlanRefusal> {
    if table.len() > Plan::MAX_BYTES {
        let (measured, limit) = (table.len() as f64, Plan::MAX_BYTES as f64);
        let problem = PlanProblem::new("plan.range", 0, "the table is too large").measured(
            measured,
            limit,
            Some("bytes"),
        );
        return Err(PlanRefusal::new(vec![problem]));
    }
    let table = table.strip_prefix('\u{feff}').unwrap_or(table);
    let head = table.lines().next().unwrap_or("");
    let delimiter = if head.contains(';') && !head.contains(',') { b';' } else { b',' };
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .trim(csv::Trim::All)
        .from_reader(table.as_bytes());
    let columns = columns(reader.headers().map_err(|e| csv_problem(&e))?)?;
    let mut problems = Vec::new();
    let mut holes = Vec::new();
    for record in reader.records() {
        match record {
            Ok(record) => holes.push(hole(&columns, &record, motion, &mut problems)),
            Err(e) => problems.extend(csv_problem(&e).problems),
        }
        if problems.len() >= PlanRefusal::MAX_PROBLEMS {
            break;
        }
    }
    if problems.is_empty() { Ok(holes) } else { Err(PlanRefusal::new(problems)) }
}

fn csv_problem(error: &csv::Error) -> PlanRefusal {
    let line = error.position().map_or(0, |p| p.line() as usize);
    let text = match error.kind() {
        csv::ErrorKind::UnequalLengths { expected_len, len, .. } => {
            format!("the row has {len} cells, the head {expected_len}")
        }
        _ => "the table cannot be read as CSV".to_owned(),
    };
    PlanRefusal::new(vec![PlanProblem::new("plan.syntax", line, text)])
}

/// The meaning of each column; unknown and missing ones are refused.
fn columns(head: &csv::StringRecord) -> Result<Vec<&'static str>, PlanRefusal> {
    let mut problems = Vec::new();
    let mut columns = Vec::new();
    for cell in head {
        let read = cell.to_lowercase().replace([' ', '-'], "_");
        let alias = ALIASES.iter().find(|(name, _)| *name == read).map(|(_, meant)| *meant);
        let known = NEEDED.into_iter().chain(OPTIONAL);
        match alias.or_else(|| known.clone().find(|name| *name == read)) {
            Some(column) if columns.contains(&column) => {
                let text = format!("the column `{column}` comes twice");
                problems.push(PlanProblem::new("plan.duplicate", 1, text));
            }
            Some(column) => columns.push(column),
            None => {
                let text = format!("`{}` is not a column of a table of holes", shown(cell));
                let words = known.chain(ALIASES.map(|(name, _)| name));
                let nearest = nearest_word(&read, words);
                problems.push(PlanProblem::new("plan.field", 1, text).nearest(nearest));
            }
        }
    }
    for missing in NEEDED.into_iter().filter(|name| !columns.contains(name)) {
        let text = format!("the column `{missing}` is missing");
        problems.push(PlanProblem::new("plan.field", 1, text));
    }
    if problems.is_empty() { Ok(columns) } else { Err(PlanRefusal::new(problems)) }
}

/// A row as the fields of a `[[hole]]`, moved into the plan's coordinates.
fn hole(
    columns: &[&'static str],
    record: &csv::StringRecord,
    motion: &Rigid,
    problems: &mut Vec<PlanProblem>,
) -> Node {
    let line = record.position().map_or(0, |p| p.line() as usize);
    let cell = |name: &str| {
        let place = columns.iter().position(|column| *column == name)?;
        record.get(place).filter(|text| !text.is_empty())
    };
    let mut number = |name: &str| {
        let text = cell(name)?;
        let number = text.parse().ok();
        if number.is_none() {
            let said = format!("`{name}` is `{}`, expected a number", shown(text));
            problems.push(PlanProblem::new("plan.field", line, said));
        }
        number
    };
    let mut triple = |stem: &str| {
        let [x, y, z] = ["x", "y", "z"].map(|axis| number(&format!("{stem}_{axis}")));
        Some(Offset([x?, y?, z?]))
    };
    let seat = triple("seat").map(|at| motion.apply(PatientPoint(at.0)).0);
    let direction = triple("direction").map(|d| motion.turn(d).0);
    let mut fields: Vec<(&str, Option<Kind>)> = vec![
        ("seat_mm", seat.map(|at| list(line, at))),
        ("direction", direction.map(|d| list(line, d))),
    ];
    for name in ["length_mm", "swivel_deg", "seat_shift_mm"] {
        fields.push((name, number(name).map(Kind::Number)));
    }
    for name in ["id", "screw", "region"] {
        fields.push((name, cell(name).map(|text| Kind::Text(text.to_owned()))));
    }
    fields.push(("zone", Some(Kind::Text(cell("zone").unwrap_or("cup").to_owned()))));
    let field = |(name, kind): (&str, Option<Kind>)| {
        let value = Node { line, kind: kind? };
        Some(Field { name: name.to_owned(), line, value })
    };
    Node { line, kind: Kind::Table(fields.into_iter().filter_map(field).collect()) }
}

fn list(line: usize, of: [f64; 3]) -> Kind {
    Kind::List(of.map(|c| Node { line, kind: Kind::Number(c) }).into())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{NewPlan, Side, base_plan};
    use pilothole_volume::Direction;

    const TABLE: &str = "id,seat_x,seat_y,seat_z,direction_x,direction_y,direction_z,thread,length\n\
                         one,30,0,0,1,0,0,HB 6.5,40\n\
                         two,0,30,0,0,1,0,HA 4.5,\n";

    fn base() -> String {
        base_plan(&NewPlan {
            side: Side::Left,
            centre: PatientPoint([5.0, -7.0, 11.0]),
            axis: Direction::SUPERIOR,
            outer_diameter_mm: 60.0,
        })
        .expect("in range")
    }

    #[test]
    fn a_table_in_the_same_frame_becomes_holes() {
        let plan = import_plan(&base(), TABLE, &Frame::Same).expect("reads").plan;
        assert_eq!(plan.holes.len(), 2);
        assert_eq!(plan.holes[0].length_mm, Some(40.0));
        assert_eq!(plan.holes[1].length_mm, None);
        assert_eq!(plan.screw_of(&plan.holes[1]).name, "HA 4.5");
        let semicolons = TABLE.replace(',', ";");
        assert_eq!(import_plan(&base(), &semicolons, &Frame::Same).expect("reads").plan, plan);
    }

    #[test]
    fn a_matrix_and_paired_points_place_the_same_holes() {
        let matrix = [
            [0.0, -1.0, 0.0, 5.0],
            [1.0, 0.0, 0.0, -7.0],
            [0.0, 0.0, 1.0, 11.0],
            [0.0, 0.0, 0.0, 1.0],
        ];
        let by_matrix = import_plan(&base(), TABLE, &Frame::Matrix(matrix)).expect("reads");
        let pair =
            |a: [f64; 3]| (PatientPoint(a), PatientPoint([5.0 - a[1], a[0] - 7.0, a[2] + 11.0]));
        let pairs = [[0.0, 0.0, 0.0], [80.0, 0.0, 0.0], [0.0, 50.0, 0.0], [0.0, 0.0, 40.0]];
        let frame = Frame::Pairs(pairs.into_iter().map(pair).collect());
        let by_pairs = import_plan(&base(), TABLE, &frame).expect("reads");
        assert!(by_pairs.fit.expect("a fit").rms_mm < 1e-9);
        for (a, b) in by_matrix.plan.holes.iter().zip(&by_pairs.plan.holes) {
            assert!(a.seat.distance_mm(b.seat) < 1e-9);
            assert!(a.direction.angle_rad(b.direction) < 1e-12);
        }
        assert_eq!(by_matrix.plan.holes[0].seat, PatientPoint([5.0, 23.0, 11.0]));
        assert_eq!(by_matrix.plan.holes[0].direction, Direction::POSTERIOR);
    }

    #[test]
    fn what_is_wrong_in_a_table_is_said_with_its_line() {
        let check = |table: &str, code: &str, line: usize| {
            let refusal = import_plan(&base(), table, &Frame::Same).expect_err("refused");
            assert_eq!((refusal.problems[0].code, refusal.problems[0].line), (code, Some(line)));
            refusal.problems[0].clone()
        };
        check(&TABLE.replace("two,0", "two,0;"), "plan.field", 3);
        check(&TABLE.replace("two,", "one,"), "plan.duplicate", 3);
        check(&TABLE.replace("0,1,0,HA", "0,1,1,HA"), "plan.direction", 3);
        check(&TABLE.replace("HB 6.5,40", "HB 6.5,4000"), "plan.range", 2);
        check(&TABLE.replace(",40\n", "\n"), "plan.syntax", 2);
        let problem = check(&TABLE.replace("thread", "thraed"), "plan.field", 1);
        assert_eq!(problem.nearest.as_deref(), Some("thread"));
        let problem = check(&TABLE.replace("seat_y", "saet_y"), "plan.field", 1);
        assert_eq!(problem.nearest.as_deref(), Some("seat_y"));
        check(&TABLE.replace("HA 4.5", "HA 45"), "plan.screw", 3);
        check(&TABLE.replace("two,0,30,0", "two,nan,30,0"), "plan.range", 3);
    }

    #[test]
    fn a_mirrored_frame_is_refused() {
        let mirror = |a: [f64; 3]| (PatientPoint(a), PatientPoint([-a[0], a[1], a[2]]));
        let pairs = [[0.0, 0.0, 0.0], [80.0, 0.0, 0.0], [0.0, 50.0, 0.0], [0.0, 0.0, 40.0]];
        let frame = Frame::Pairs(pairs.into_iter().map(mirror).collect());
        let refusal = import_plan(&base(), TABLE, &frame).expect_err("refused");
        assert!(refusal.problems[0].text.contains("mirrored"), "{refusal}");
    }
}
