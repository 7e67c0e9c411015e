//! `scene.glb`: bone, socket, screws and the guides' sleeves as glTF 2.0.
//!
//! Metres. Vertices stay in the patient's axes; one root node turns them to
//! glTF's (x to the patient's left, y to the head, z to the front).

use serde_json::{Value, json};

use super::Drawn;
use super::sleeves::{Sleeve, sleeves};
use crate::record::{GuideRecord, HoleRecord, Record};
use crate::text::{CAUTION, harmless};
use pilothole_plan::{Plan, Socket};
use pilothole_volume::Direction;

/// Sides of a cylinder, and of the socket around its axis.
const SIDES: u16 = 24;
/// Rings of the socket from rim to pole.
const RINGS: u16 = 8;

/// Buffer, its views and accessors, growing together.
#[derive(Default)]
struct Buffers {
    bytes: Vec<u8>,
    views: Vec<Value>,
    accessors: Vec<Value>,
}

impl Buffers {
    /// Vertices in metres; returns the accessor.
    fn positions(&mut self, vertices: &[[f32; 3]]) -> usize {
        let start = self.bytes.len();
        let (mut low, mut high) = ([f32::INFINITY; 3], [f32::NEG_INFINITY; 3]);
        for vertex in vertices {
            for axis in 0..3 {
                low[axis] = low[axis].min(vertex[axis]);
                high[axis] = high[axis].max(vertex[axis]);
                self.bytes.extend(vertex[axis].to_le_bytes());
            }
        }
        self.accessor(start, 34962, &json!({
            "componentType": 5126, "count": vertices.len(), "type": "VEC3", "min": low, "max": high
        }))
    }

    /// Corners of triangles; returns the accessor.
    fn indices(&mut self, triangles: &[[u16; 3]]) -> usize {
        let start = self.bytes.len();
        for corner in triangles.iter().flatten() {
            self.bytes.extend(corner.to_le_bytes());
        }
        self.accessor(
            start,
            34963,
            &json!({
                "componentType": 5123, "count": 3 * triangles.len(), "type": "SCALAR"
            }),
        )
    }

    fn accessor(&mut self, start: usize, target: u32, what: &Value) -> usize {
        let length = self.bytes.len() - start;
        self.bytes.resize(self.bytes.len().next_multiple_of(4), 0);
        self.views.push(json!({
            "buffer": 0, "byteOffset": start, "byteLength": length, "target": target
        }));
        let mut accessor = what.clone();
        accessor["bufferView"] = json!(self.views.len() - 1);
        self.accessors.push(accessor);
        self.accessors.len() - 1
    }
}

/// The scene of a case; without a mesh there is no bone, without a femur none.
pub(crate) fn scene_glb(record: &Record, plan: &Plan, drawn: &Drawn) -> Vec<u8> {
    let mesh = &drawn.mesh;
    let mut buffers = Buffers::default();
    let mut meshes = Vec::new();
    let mut nodes = vec![json!(null)];
    if !mesh.triangles.is_empty() {
        let metres: Vec<[f32; 3]> = mesh.vertices.iter().map(|v| v.map(|c| c / 1000.0)).collect();
        let positions = buffers.positions(&metres);
        let (others, femur) = mesh.triangles.split_at(drawn.before_femur);
        for (name, triangles) in [("bone", others), ("femur", femur)] {
            if triangles.is_empty() {
                continue;
            }
            let corners = buffers.indices(triangles);
            nodes.push(json!({
                "name": name, "mesh": meshes.len(),
                "extras": { "simplified_to_mm": mesh.cell_mm, "use": "pictures, not measuring" }
            }));
            meshes.push(part(name, positions, corners, 0));
        }
    }
    let (shell, faces) = shell(&plan.socket);
    meshes.push(primitive(&mut buffers, "socket", &shell, &faces, 1));
    nodes.push(json!({ "name": "socket", "mesh": meshes.len() - 1 }));
    let (rod, faces) = cylinder();
    meshes.push(primitive(&mut buffers, "screw", &rod, &faces, 2));
    let rod = meshes.len() - 1;
    nodes.extend(record.holes.iter().map(|hole| screw_node(hole, rod)));
    let mut children: Vec<usize> = (1..nodes.len()).collect();
    let guides = sleeves(record, plan);
    if !guides.is_empty() {
        let (tube, faces) = tube();
        meshes.push(primitive(&mut buffers, "sleeve", &tube, &faces, 3));
    }
    for (guide, sleeves) in &guides {
        let first = nodes.len();
        nodes.extend(sleeves.iter().map(|sleeve| sleeve_node(sleeve, meshes.len() - 1)));
        let below: Vec<usize> = (first..nodes.len()).collect();
        children.push(nodes.len());
        nodes.push(guide_node(guide, &below));
    }
    nodes[0] = json!({
        "name": "patient",
        "matrix": [1, 0, 0, 0, 0, 0, -1, 0, 0, 1, 0, 0, 0, 0, 0, 1],
        "children": children,
        "extras": { "frame": "children in LPS: x left, y posterior, z superior; metres" }
    });
    let document = json!({
        "asset": {
            "version": "2.0",
            "generator": format!("{} {}", record.tool.name, harmless(&record.tool.version)),
            "extras": {
                "caution": CAUTION, "scan_digest": record.scan.digest, "unit": "m",
                "frame": "glTF axes; x patient's left, y superior, z anterior"
            }
        },
        "scene": 0,
        "scenes": [{ "name": "plan", "nodes": [0] }],
        "nodes": nodes,
        "meshes": meshes,
        "materials": [
            material("bone", [0.87, 0.83, 0.74, 1.0]),
            material("socket", [0.45, 0.55, 0.62, 1.0]),
            material("screw", [0.07, 0.25, 0.35, 1.0]),
            material("sleeve", [0.48, 0.29, 0.0, 1.0]),
        ],
        "buffers": [{ "byteLength": buffers.bytes.len() }],
        "bufferViews": buffers.views,
        "accessors": buffers.accessors,
    });
    container(document.to_string().into_bytes(), buffers.bytes)
}

fn primitive(
    buffers: &mut Buffers,
    name: &str,
    vertices: &[[f32; 3]],
    triangles: &[[u16; 3]],
    material: usize,
) -> Value {
    let positions = buffers.positions(vertices);
    let corners = buffers.indices(triangles);
    part(name, positions, corners, material)
}

/// A mesh of the accessors of its vertices and of its triangles' corners.
fn part(name: &str, positions: usize, corners: usize, material: usize) -> Value {
    json!({
        "name": name,
        "primitives": [{
            "attributes": { "POSITION": positions }, "indices": corners, "material": material
        }]
    })
}

fn material(name: &str, colour: [f64; 4]) -> Value {
    json!({
        "name": name, "doubleSided": true,
        "pbrMetallicRoughness": {
            "baseColorFactor": colour, "metallicFactor": 0.0, "roughnessFactor": 0.8
        }
    })
}

/// A screw as a cylinder of its thread, seat to tip.
fn screw_node(hole: &HoleRecord, mesh: usize) -> Value {
    let length = hole.set_length_mm().unwrap_or(hole.major_diameter_mm);
    let along = hole.direction;
    let axis = Direction::along(pilothole_volume::Offset(along)).unwrap_or(Direction::SUPERIOR);
    json!({
        "name": format!("screw {}", harmless(&hole.id)),
        "mesh": mesh,
        "matrix": stretched(hole.seat_mm, axis, 0.5 * hole.major_diameter_mm, length),
        "extras": {
            "hole": harmless(&hole.id), "length_mm": hole.length_mm,
            "drawn_length_mm": length, "purchase": hole.purchase
        }
    })
}

/// A sleeve as the outside of its tube; the bore is not known.
fn sleeve_node(sleeve: &Sleeve<'_>, mesh: usize) -> Value {
    let hole = harmless(&sleeve.hole.id);
    json!({
        "name": format!("sleeve {hole}"),
        "mesh": mesh,
        "matrix": stretched(sleeve.foot.0, sleeve.out, sleeve.radius_mm, sleeve.length_mm),
        "extras": {
            "hole": hole, "outer_radius_mm": sleeve.radius_mm, "length_mm": sleeve.length_mm
        }
    })
}

/// A guide: its sleeves below it.
fn guide_node(guide: &GuideRecord, sleeves: &[usize]) -> Value {
    let mut node = json!({
        "name": format!("guide {}", guide.name),
        "extras": { "insertion_lps": guide.insertion }
    });
    // glTF allows no empty list of children.
    if !sleeves.is_empty() {
        node["children"] = json!(sleeves);
    }
    node
}

/// The matrix that makes a unit cylinder of a radius and a length, both mm,
/// from a place in the patient along an axis; column by column, metres.
fn stretched(from_mm: [f64; 3], axis: Direction, radius_mm: f64, length_mm: f64) -> [f64; 16] {
    let (u, v) = axis.across();
    let column = |d: Direction, scale_mm: f64| d.components().map(|c| c * scale_mm / 1000.0);
    let (x, y, z) = (column(u, radius_mm), column(v, radius_mm), column(axis, length_mm));
    let at = from_mm.map(|c| c / 1000.0);
    [x[0], x[1], x[2], 0.0, y[0], y[1], y[2], 0.0, z[0], z[1], z[2], 0.0, at[0], at[1], at[2], 1.0]
}

/// A cylinder's side of radius 1 from 0 to 1 along z, open at both ends.
fn tube() -> (Vec<[f32; 3]>, Vec<[u16; 3]>) {
    let (vertices, triangles) = cylinder();
    let side = triangles.iter().filter(|t| t.iter().all(|corner| *corner > 1));
    (vertices[2..].to_vec(), side.map(|t| t.map(|corner| corner - 2)).collect())
}

/// A cylinder of radius 1 from 0 to 1 along z, closed, outward.
fn cylinder() -> (Vec<[f32; 3]>, Vec<[u16; 3]>) {
    let mut vertices = vec![[0.0, 0.0, 0.0], [0.0, 0.0, 1.0]];
    let mut triangles = Vec::new();
    for side in 0..SIDES {
        let (sin, cos) = (f32::from(side) / f32::from(SIDES) * std::f32::consts::TAU).sin_cos();
        vertices.extend([[cos, sin, 0.0], [cos, sin, 1.0]]);
        let (a, b) = (2 + 2 * side, 2 + 2 * ((side + 1) % SIDES));
        triangles.extend([[0, b, a], [1, a + 1, b + 1], [a, b, b + 1], [a, b + 1, a + 1]]);
    }
    (vertices, triangles)
}

/// The outer half sphere of the socket, metres, LPS.
fn shell(socket: &Socket) -> (Vec<[f32; 3]>, Vec<[u16; 3]>) {
    let inward = -socket.axis;
    let (u, v) = inward.across();
    let radius = 0.5 * socket.outer_diameter_mm;
    let mut vertices = Vec::new();
    let mut triangles = Vec::new();
    for ring in 0..=RINGS {
        let rise = f64::from(ring) / f64::from(RINGS) * std::f64::consts::FRAC_PI_2;
        for side in 0..SIDES {
            let turn = f64::from(side) / f64::from(SIDES) * std::f64::consts::TAU;
            let across = u * (turn.cos() * rise.cos()) + v * (turn.sin() * rise.cos());
            let at = socket.centre + (across + inward * rise.sin()) * radius;
            vertices.push(at.0.map(|c| (c / 1000.0) as f32));
            if ring < RINGS {
                let (a, b) = (ring * SIDES + side, ring * SIDES + (side + 1) % SIDES);
                triangles.extend([[a, b, b + SIDES], [a, b + SIDES, a + SIDES]]);
            }
        }
    }
    (vertices, triangles)
}

/// Header and two chunks, each padded to four bytes (glTF 2.0, section 4.4).
fn container(mut json: Vec<u8>, mut binary: Vec<u8>) -> Vec<u8> {
    json.resize(json.len().next_multiple_of(4), b' ');
    binary.resize(binary.len().next_multiple_of(4), 0);
    let total = 12 + 8 + json.len() + 8 + binary.len();
    let mut file = Vec::with_capacity(total);
    file.extend(b"glTF");
    for word in [2, total as u32, json.len() as u32] {
        file.extend(word.to_le_bytes());
    }
    file.extend(b"JSON");
    file.append(&mut json);
    file.extend((binary.len() as u32).to_le_bytes());
    file.extend(b"BIN\0");
    file.append(&mut binary);
    file
}
