//! Sheets waiting side by side for their vertices.
//!
//! The arithmetic is the same for each, without a branch, so a processor's
//! wide registers take several at a time.

use super::sheet::part;

/// Farthest that a vertex is lifted from the mean of its sheet's crossing
/// points, voxels.
///
/// A sphere of 3 voxels' radius asks for as much; beyond that the slopes
/// at the samples say little of the surface between them.
pub(super) const LIFT: f32 = 1.0 / 8.0;

/// Share of the tangent planes' mean height above the mean by which that is
/// lifted: 0.5 puts the vertex on a sphere, the rest makes up for the
/// triangles' chords, so that the volume is right.
pub(super) const LIFT_SHARE: f32 = 0.85;

/// Sheets that are placed together.
pub(super) const LANES: usize = 64;

/// What [`Batch::place`] knows of each sheet, and where its vertex lies.
pub(super) struct Batch {
    /// Heights of the cell's corners.
    heights: [[f32; LANES]; 8],
    /// How much the heights bend along each axis, see [`bends_of`];
    /// not-a-number where that is not known.
    bends: [[f32; LANES]; 3],
    /// Crossed edges, as bits.
    edges: [u32; LANES],
    /// What each is to be told by.
    owners: [Owner; LANES],
    /// Vertices in the unit cubes of their cells.
    places: [[f32; LANES]; 3],
    count: usize,
}

/// Whose vertex it is.
#[derive(Clone, Copy, Default)]
pub(super) struct Owner {
    /// Column and row of the cell.
    pub(super) cell: [u32; 2],
    /// Number of the vertex in its layer.
    pub(super) vertex: u32,
    /// Its margin.
    pub(super) margin: f32,
}

impl Default for Batch {
    fn default() -> Self {
        Self {
            heights: [[0.0; LANES]; 8],
            bends: [[0.0; LANES]; 3],
            edges: [0; LANES],
            owners: [Owner::default(); LANES],
            places: [[0.0; LANES]; 3],
            count: 0,
        }
    }
}

/// How much heights bend along each axis: the mean second difference over the
/// cell's four edges, from both sides.
///
/// - `within`: sum of the heights of the cell's corners.
/// - `around`: sums of the eight heights beside them, axis by axis.
#[inline]
pub(super) fn bends_of(within: f32, around: [f32; 3]) -> [f32; 3] {
    around.map(|beside| 0.125 * (beside - within))
}

impl Batch {
    /// Add a sheet; there must be room.
    #[inline]
    pub(super) fn push(&mut self, heights: &[f32; 8], bends: [f32; 3], edges: u16, owner: Owner) {
        let lane = self.count;
        for (all, height) in self.heights.iter_mut().zip(heights) {
            all[lane] = *height;
        }
        for (all, bend) in self.bends.iter_mut().zip(bends) {
            all[lane] = bend;
        }
        self.edges[lane] = u32::from(edges);
        self.owners[lane] = owner;
        self.count += 1;
    }

    #[inline]
    pub(super) fn is_full(&self) -> bool {
        self.count == LANES
    }

    /// The sheets' vertices, in the order in which they came; empties the
    /// batch.
    ///
    /// The vertex is the mean of the crossing points, lifted onto the surface.
    /// The mean lies below a curved surface by half of what the tangent planes
    /// at the crossing points lie above it on average, and the triangles
    /// between such points lie lower still; [`LIFT_SHARE`] makes up for
    /// both. With heights of second order about the mean, the planes' height
    /// is the heights' bending over the crossing points' spread. A flat sheet
    /// gets the mean, as does one whose bending is not known.
    pub(super) fn place(&mut self) -> impl Iterator<Item = (Owner, [f32; 3])> {
        place_lanes(&self.heights, &self.bends, &self.edges, &mut self.places);
        let count = std::mem::take(&mut self.count);
        (0..count).map(|lane| (self.owners[lane], self.places.each_ref().map(|p| p[lane])))
    }
}

/// A function of its own, so that the compiler knows the arrays apart.
#[inline(never)]
fn place_lanes(
    heights: &[[f32; LANES]; 8],
    bends: &[[f32; LANES]; 3],
    edges: &[u32; LANES],
    places: &mut [[f32; LANES]; 3],
) {
    let ([a, b, c, d, e, f, g, h], [x, y, z]) = (heights, bends);
    let [to_x, to_y, to_z] = places;
    for n in 0..LANES {
        let heights = [a[n], b[n], c[n], d[n], e[n], f[n], g[n], h[n]];
        [to_x[n], to_y[n], to_z[n]] = middle(heights, [x[n], y[n], z[n]], edges[n]);
    }
}

/// What the four edges along an axis contribute.
///
/// Edges 1 and 3 lie at the far side of the first axis across, edges 2 and 3 at
/// that of the second.
struct Along {
    /// Crossing points; those at the far side of each axis across; of both.
    count: f32,
    far: [f32; 2],
    far_both: f32,
    /// Sums of the crossing points' places along the axis, and of the squares.
    place: f32,
    square: f32,
    /// Sums of the places of those at the far side of each axis across.
    far_place: [f32; 2],
    /// Mean rise of the height.
    slope: f32,
    /// Mean rise at the far side of each axis across less that at the near one.
    twist: [f32; 2],
}

impl Along {
    /// - `low`, `high`: heights at the edges' ends.
    /// - `edges`: which are crossed, as bits.
    #[expect(clippy::inline_always, reason = "a call would keep the lanes apart")]
    #[inline(always)]
    fn of([a, b, c, d]: [f32; 4], [e, f, g, h]: [f32; 4], edges: u32) -> Self {
        let on = [is_on(edges, 0), is_on(edges, 1), is_on(edges, 2), is_on(edges, 3)];
        let parts = [part(a, e), part(b, f), part(c, g), part(d, h)];
        let places = [on[0] * parts[0], on[1] * parts[1], on[2] * parts[2], on[3] * parts[3]];
        let rises = [e - a, f - b, g - c, h - d];
        Self {
            count: (on[0] + on[1]) + (on[2] + on[3]),
            far: [on[1] + on[3], on[2] + on[3]],
            far_both: on[3],
            place: (places[0] + places[1]) + (places[2] + places[3]),
            square: (places[0] * parts[0] + places[1] * parts[1])
                + (places[2] * parts[2] + places[3] * parts[3]),
            far_place: [places[1] + places[3], places[2] + places[3]],
            slope: 0.25 * ((rises[0] + rises[1]) + (rises[2] + rises[3])),
            twist: [
                0.5 * ((rises[1] + rises[3]) - (rises[0] + rises[2])),
                0.5 * ((rises[2] + rises[3]) - (rises[0] + rises[1])),
            ],
        }
    }
}

/// A bit as a number.
#[inline]
fn is_on(edges: u32, place: u32) -> f32 {
    (edges >> place & 1) as i32 as f32
}

#[expect(clippy::inline_always, reason = "a call would keep the lanes apart")]
#[inline(always)]
fn middle([a, b, c, d, e, f, g, h]: [f32; 8], bends: [f32; 3], edges: u32) -> [f32; 3] {
    let x = Along::of([a, c, e, g], [b, d, f, h], edges);
    let y = Along::of([a, b, e, f], [c, d, g, h], edges >> 4);
    let z = Along::of([a, b, c, d], [e, f, g, h], edges >> 8);
    let share = 1.0 / (x.count + y.count + z.count);
    let mean = [
        share * (x.place + y.far[0] + z.far[0]),
        share * (x.far[0] + y.place + z.far[1]),
        share * (x.far[1] + y.far[1] + z.place),
    ];
    // Mean squares of the crossing points' distances from their mean along each
    // axis, and mean products of those along x y, x z, y z.
    let spread = [
        share * (x.square + y.far[0] + z.far[0]) - mean[0] * mean[0],
        share * (x.far[0] + y.square + z.far[1]) - mean[1] * mean[1],
        share * (x.far[1] + y.far[1] + z.square) - mean[2] * mean[2],
    ];
    let across = [
        share * (x.far_place[0] + y.far_place[0] + z.far_both) - mean[0] * mean[1],
        share * (x.far_place[1] + y.far_both + z.far_place[0]) - mean[0] * mean[2],
        share * (x.far_both + y.far_place[1] + z.far_place[1]) - mean[1] * mean[2],
    ];
    let (slope, twist) = ([x.slope, y.slope, z.slope], [x.twist[0], x.twist[1], y.twist[1]]);
    let climb = (bends[0] * spread[0] + bends[1] * spread[1] + bends[2] * spread[2])
        + 2.0 * (twist[0] * across[0] + twist[1] * across[1] + twist[2] * across[2]);
    // Along the gradient at the mean, by the climb over its length.
    let (x, y, z) = (mean[0] - 0.5, mean[1] - 0.5, mean[2] - 0.5);
    let gradient = [
        slope[0] + bends[0] * x + twist[0] * y + twist[1] * z,
        slope[1] + twist[0] * x + bends[1] * y + twist[2] * z,
        slope[2] + twist[1] * x + twist[2] * y + bends[2] * z,
    ];
    let squared = gradient[0] * gradient[0] + gradient[1] * gradient[1] + gradient[2] * gradient[2];
    let factor = LIFT_SHARE * climb / squared;
    let limit = LIFT / squared.sqrt();
    let factor = if factor < limit { factor } else { limit };
    let factor = if factor > -limit { factor } else { -limit };
    // Not-a-number in any of them is one here.
    let is_known = (climb / squared).abs() < f32::INFINITY;
    let factor = if is_known { factor } else { 0.0 };
    let lift = |k: usize| if is_known { factor * gradient[k] } else { 0.0 };
    [mean[0] + lift(0), mean[1] + lift(1), mean[2] + lift(2)]
}
