//! A plan file, and the component's mesh that it names.

use std::fs;
use std::path::Path;

use pilothole_assess::set::Part;
use pilothole_plan::{Format, Plan};
use pilothole_surface::read_stl;

use crate::error::{CaseError, io_words};
use crate::reason::Reason;

/// A checked plan, with the component's surface where it names one.
#[derive(Clone, Debug)]
pub struct PlanFile {
    /// The plan.
    pub plan: Plan,
    /// The component's surface, mm, LPS.
    pub part: Option<Part>,
}

/// Largest plan file that is read, bytes.
const MAX_PLAN_BYTES: u64 = Plan::MAX_BYTES as u64;

/// Largest mesh of a component that is read, bytes: five million triangles.
const MAX_MESH_BYTES: u64 = 256 << 20;

/// Read a plan file, JSON where its name ends so, else TOML, and the mesh that
/// it names, relative to it.
///
/// # Errors
///
/// [`CaseError::Plan`] with every problem; `plan.syntax` where a file cannot
/// be read.
pub fn read_plan(path: &Path) -> Result<PlanFile, CaseError> {
    let text = read_text(path, MAX_PLAN_BYTES, "plan.syntax", "the plan file")?;
    let json = path.extension().is_some_and(|ext| ext.eq_ignore_ascii_case("json"));
    let plan = Plan::parse(&text, if json { Format::Json } else { Format::Toml })?;
    let part = match &plan.component {
        Some(component) => {
            let folder = path.parent().unwrap_or(Path::new(""));
            Some(read_part(&folder.join(&component.mesh))?)
        }
        None => None,
    };
    Ok(PlanFile { plan, part })
}

fn read_part(path: &Path) -> Result<Part, CaseError> {
    let bytes = read_bytes(path, MAX_MESH_BYTES, "plan.field", "the component's mesh")?;
    let mesh = read_stl(&bytes).map_err(|error| {
        CaseError::Plan(vec![
            Reason::new("plan.field", format!("the component's mesh: {error}"))
                .next("export the component as binary STL, mm, in the plan's frame"),
        ])
    })?;
    let triangles = (0..mesh.triangles.len()).map(|i| mesh.corners(i)).collect();
    Ok(Part { triangles })
}

/// Read a small text file.
pub(crate) fn read_text(
    path: &Path,
    limit: u64,
    code: &'static str,
    what: &str,
) -> Result<String, CaseError> {
    let bytes = read_bytes(path, limit, code, what)?;
    String::from_utf8(bytes).map_err(|_utf8| {
        CaseError::Plan(vec![Reason::new(code, format!("{what} is not UTF-8 text"))])
    })
}

fn read_bytes(
    path: &Path,
    limit: u64,
    code: &'static str,
    what: &str,
) -> Result<Vec<u8>, CaseError> {
    let refuse = |reason: Reason| CaseError::Plan(vec![reason]);
    let unreadable = |error: std::io::Error| {
        let why = io_words(error.kind());
        refuse(
            Reason::new(code, format!("{what} cannot be read: {why}"))
                .next("check the name of the file and that you may read it"),
        )
    };
    let found = fs::metadata(path).map_err(unreadable)?.len();
    if found > limit {
        return Err(refuse(
            Reason::new(code, format!("{what} is larger than it may be")).measured(
                found as f64,
                Some(limit as f64),
                "bytes",
            ),
        ));
    }
    fs::read(path).map_err(unreadable)
}
