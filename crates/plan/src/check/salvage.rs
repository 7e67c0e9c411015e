//! The parts of a misshapen plan that can still be judged for their sense, so
//! that a reader is told everything at once.

use crate::schema::Shape;
use crate::tree::{Field, Kind, Node};

/// What is left of a plan without its misshapen parts.
pub(super) struct Salvaged {
    /// Well shaped; stand-ins for what was missing have line 0.
    pub(super) root: Node,
    /// Whether a screw was left out, so that a hole's may seem unknown.
    pub(super) lost_screw: bool,
}

/// Lists whose entries stand for themselves: one that is misshapen leaves the
/// others judged.
const LISTS: [&str; 4] = ["hole", "screw", "patch", "landmark"];

/// Leave out what is misshapen; `None` when nothing is left to judge.
///
/// Of a hole a misshapen optional field is left out, of other tables all, since
/// their fields belong together.
pub(super) fn salvage(root: &Node) -> Option<Salvaged> {
    let Kind::Table(written) = &root.kind else { return None };
    let shape = Shape::new();
    let mut fields: Vec<Field> = Vec::new();
    let mut lost = Vec::new();
    for field in written {
        let value = match &field.value.kind {
            Kind::List(items) if LISTS.contains(&field.name.as_str()) => {
                let whole = |item: &Node| match (field.name.as_str(), &item.kind) {
                    ("hole", Kind::Table(fields)) => {
                        let kept = fields.iter().filter(|f| shape.fits_hole(f)).cloned().collect();
                        Node { line: item.line, kind: Kind::Table(kept) }
                    }
                    _ => item.clone(),
                };
                let kept: Vec<Node> = items
                    .iter()
                    .map(whole)
                    .filter(|item| shape.fits_entry(&field.name, item))
                    .collect();
                if kept.len() < items.len() {
                    lost.push(field.name.as_str());
                }
                Node { line: field.value.line, kind: Kind::List(kept) }
            }
            _ => field.value.clone(),
        };
        let left = Field { name: field.name.clone(), line: field.line, value };
        if shape.fits(&left) {
            fields.push(left);
        } else {
            lost.push(field.name.as_str());
        }
    }
    // The order names every hole, and landmarks are held against the socket.
    let has = |fields: &[Field], name: &str| fields.iter().any(|f| f.name == name);
    if lost.contains(&"hole") {
        fields.retain(|f| f.name != "order");
    }
    if !has(&fields, "side") || !has(&fields, "socket") {
        fields.retain(|f| f.name != "landmark");
    }
    for (name, kind) in stand_ins() {
        if !has(&fields, name) {
            fields.push(Field { name: name.to_owned(), line: 0, value: Node { line: 0, kind } });
        }
    }
    let root = Node { line: root.line, kind: Kind::Table(fields) };
    shape.fits_plan(&root).then_some(Salvaged { root, lost_screw: lost.contains(&"screw") })
}

/// For what a plan cannot do without; they are never judged.
fn stand_ins() -> [(&'static str, Kind); 4] {
    let text = |word: &str| Kind::Text(word.to_owned());
    let number = |value: f64| Node { line: 0, kind: Kind::Number(value) };
    let field = |name: &str, kind: Kind| Field {
        name: name.to_owned(),
        line: 0,
        value: Node { line: 0, kind },
    };
    let triple = |values: [f64; 3]| Kind::List(values.map(number).to_vec());
    let socket = vec![
        field("centre_mm", triple([0.0; 3])),
        field("axis", triple([0.0, 0.0, 1.0])),
        field("outer_diameter_mm", Kind::Number(50.0)),
    ];
    [
        ("schema", text(crate::Plan::SCHEMA)),
        ("side", text("left")),
        ("coordinates", text("LPS")),
        ("socket", Kind::Table(socket)),
    ]
}
