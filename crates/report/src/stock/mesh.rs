//! Two surfaces with what lies behind their points: the socket's and the bone's.

use pilothole_assess::stock::{Ring, Stock, StockCell, StockChart};
use pilothole_plan::{Plan, Side};
use pilothole_surface::{
    ClosedSurface, MeshLabel, Side as MeshSide, TriMesh, VertexProperty, write_ply,
};
use pilothole_volume::{Direction, PatientPoint};

use crate::number::{hu, mm, newton};

/// The chart from the socket's centre as a surface: binary PLY, mm, LPS.
///
/// One vertex a direction, where it leaves the socket's outer surface; faces
/// look out of the socket into bone. Float properties, rounded as
/// `report.json` rounds and not-a-number where unknown: `depth_mm`,
/// `purchase_mm`, `side_wall_mm`, `thread_mean_hu`, `pullout_n`, and, never
/// unknown, `hatched` (1 where the direction leads into danger, else 0) and
/// `dangers` (one bit a danger, as in `stock.npy`). `None` when there is no such
/// chart or it is a single direction.
///
/// # Panics
///
/// Never: memory takes every write, and every property has a value a vertex.
pub fn stock_ply(stock: &Stock, plan: &Plan) -> Option<Vec<u8>> {
    let chart = stock.from_centre()?;
    let mesh = surface(chart);
    if mesh.triangles.is_empty() {
        return None;
    }
    let cells: Vec<Option<&StockCell>> = chart.cells.iter().map(Some).collect();
    Some(ply(&mesh, &cells, plan))
}

/// How far from where a direction meets bone a corner of the bone's surface may
/// lie to be that place, mm: a step of 1° on a surface seen at 80°, 20 mm away.
/// Own choice, no source.
const SAME_PLACE_MM: f64 = 2.0;

/// The bone's own surface with the same values where a direction from the
/// socket's centre first meets it: binary PLY, mm, LPS, properties as in
/// [`stock_ply`].
///
/// Every property is not-a-number at corners that no direction meets first:
/// behind other bone, outside the hemisphere, or inside the socket, where bone
/// is reamed away. `None` when there is no chart from the centre.
///
/// # Panics
///
/// Never: as [`stock_ply`].
pub fn stock_bone_ply(stock: &Stock, plan: &Plan, bone: &ClosedSurface) -> Option<Vec<u8>> {
    let chart = stock.from_centre()?;
    let radius_mm = 0.5 * plan.socket.outer_diameter_mm;
    let met = |corner: &PatientPoint| {
        let offset = *corner - plan.socket.centre;
        let cell = chart.nearest(Direction::along(offset)?)?;
        let off_mm = offset.length_mm() - radius_mm - cell.near_mm?;
        (off_mm.abs() <= SAME_PLACE_MM).then_some(cell)
    };
    let cells: Vec<Option<&StockCell>> = bone.mesh().vertices.iter().map(met).collect();
    Some(ply(bone.mesh(), &cells, plan))
}

/// A surface with a cell, where there is one, at each of its corners.
fn ply(mesh: &TriMesh, cells: &[Option<&StockCell>], plan: &Plan) -> Vec<u8> {
    let values = |of: &dyn Fn(&StockCell) -> Option<f64>| -> Vec<f32> {
        cells.iter().map(|cell| cell.and_then(of).map_or(f32::NAN, |value| value as f32)).collect()
    };
    let columns = [
        ("depth_mm", values(&|cell| cell.depth_mm().and_then(mm))),
        ("purchase_mm", values(&|cell| mm(cell.purchase_mm))),
        ("side_wall_mm", values(&|cell| cell.side_wall_mm.and_then(mm))),
        ("thread_mean_hu", values(&|cell| cell.thread_hu.and_then(hu))),
        ("pullout_n", values(&|cell| cell.pullout_n.and_then(newton))),
        ("hatched", values(&|cell| Some(f64::from(u8::from(!cell.dangers.is_empty()))))),
        ("dangers", values(&|cell| Some(f64::from(cell.dangers.bits())))),
    ];
    let properties = columns.each_ref().map(|(name, values)| VertexProperty { name, values });
    let side = match plan.side {
        Side::Left => MeshSide::Left,
        Side::Right => MeshSide::Right,
    };
    let mut bytes = Vec::new();
    write_ply(&mut bytes, mesh, MeshLabel { side }, &properties)
        .expect("memory takes every write, and every property has a value a vertex");
    bytes
}

/// The seats of a chart, joined ring to ring.
fn surface(chart: &StockChart) -> TriMesh {
    let vertices = chart.cells.iter().map(|cell| cell.seat).collect();
    let triangles = chart.rings.windows(2).flat_map(|pair| band(pair[0], pair[1])).collect();
    TriMesh { vertices, triangles }
}

/// The triangles between two rings, by going around both at once.
fn band(inner: Ring, outer: Ring) -> Vec<[u32; 3]> {
    let vertex = |ring: Ring, at: usize| (ring.first + at % ring.count) as u32;
    // A ring of one direction is a point: nothing to go around.
    let steps = |ring: Ring| if ring.count == 1 { 0 } else { ring.count };
    let [most_inner, most_outer] = [inner, outer].map(steps);
    let (mut i, mut o) = (0, 0);
    let mut triangles = Vec::with_capacity(most_inner + most_outer);
    while i < most_inner || o < most_outer {
        let next = |done: usize, of: usize| (done + 1) as f64 / of.max(1) as f64;
        let outer_first =
            i == most_inner || (o < most_outer && next(o, most_outer) <= next(i, most_inner));
        if outer_first {
            triangles.push([vertex(inner, i), vertex(outer, o), vertex(outer, o + 1)]);
            o += 1;
        } else {
            triangles.push([vertex(inner, i), vertex(outer, o), vertex(inner, i + 1)]);
            i += 1;
        }
    }
    triangles
}
