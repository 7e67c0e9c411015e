//! What a ray meets.

use pilothole_volume::{Direction, PatientPoint};

use super::{Corners, Hit, Node, RayIndex};

/// Deepest stack: three waiting boxes a level, more levels than 2³² triangles
/// make.
const STACK: usize = 3 * 64;

/// A ray prepared for boxes (f32) and triangles (f64).
pub(super) struct Ray {
    origin: [f32; 3],
    /// One over each component of the direction.
    inverse: [f32; 3],
    exact_origin: [f64; 3],
    /// Axes, the last one the direction's largest, the same handedness.
    axes: [usize; 3],
    /// What turns the direction into the last axis: `x - shear[0] * z`, and so
    /// on; the last one scales `z`.
    shear: [f64; 3],
    /// Distance from the ray's own start to `origin`, mm.
    start_mm: f64,
}

/// A triangle met, before it gets its number in the mesh.
#[derive(Clone, Copy)]
pub(super) struct Met {
    /// Distance from the ray's own start, mm.
    pub(super) distance_mm: f64,
    pub(super) entering: bool,
    /// Whether an edge was met exactly.
    pub(super) on_edge: bool,
}

impl Ray {
    /// `None` when the ray does not meet the box around everything within
    /// reach.
    pub(super) fn new(
        index: &RayIndex,
        from: PatientPoint,
        along: Direction,
        reach_mm: f64,
    ) -> Option<Self> {
        let direction = along.components();
        let from = (from - index.middle).0;
        let (mut near, mut far) = (0.0_f64, reach_mm);
        for axis in 0..3 {
            let [a, b] = index.bounds.map(|b| (b[axis] - from[axis]) / direction[axis]);
            if a.is_nan() || b.is_nan() {
                // Along the side of the box.
                continue;
            }
            near = near.max(a.min(b));
            far = far.min(a.max(b));
        }
        // Boxes are padded, so a ray that grazes the outermost one is kept.
        if near > far || far.is_nan() {
            return None;
        }
        let exact_origin = std::array::from_fn(|n| from[n] + near * direction[n]);
        let last = (1..3)
            .fold(0, |best, n| if direction[n].abs() > direction[best].abs() { n } else { best });
        let (mut x, mut y) = ((last + 1) % 3, (last + 2) % 3);
        if direction[last] < 0.0 {
            std::mem::swap(&mut x, &mut y);
        }
        let scale = 1.0 / direction[last];
        Some(Self {
            origin: exact_origin.map(|c: f64| c as f32),
            inverse: direction
                .map(|d| 1.0 / (d as f32 + if d.abs() < 1e-18 { 1e-18 } else { 0.0 })),
            exact_origin,
            axes: [x, y, last],
            shear: [direction[x] * scale, direction[y] * scale, scale],
            start_mm: near,
        })
    }

    /// Distances from `origin` at which the ray enters the four boxes;
    /// infinite where it does not before `far`.
    #[inline]
    fn enter(&self, node: &Node, far: f32) -> [f32; 4] {
        let mut near = [0.0_f32; 4];
        let mut until = [far; 4];
        for axis in 0..3 {
            let (origin, inverse) = (self.origin[axis], self.inverse[axis]);
            let (first, last) = if inverse >= 0.0 {
                (&node.low[axis], &node.high[axis])
            } else {
                (&node.high[axis], &node.low[axis])
            };
            for n in 0..4 {
                let enter = (first[n] - origin) * inverse;
                let leave = (last[n] - origin) * inverse;
                near[n] = if enter > near[n] { enter } else { near[n] };
                until[n] = if leave < until[n] { leave } else { until[n] };
            }
        }
        std::array::from_fn(|n| if near[n] <= until[n] { near[n] } else { f32::INFINITY })
    }

    /// Where the ray meets a triangle between its start and `far` from
    /// `origin`.
    ///
    /// Woop, Benthin, Wald 2013, "Watertight ray/triangle intersection", JCGT
    /// 2(1): an edge's two triangles judge it by the same three products.
    #[inline]
    fn meet(&self, corners: &Corners, far: f64) -> Option<Met> {
        let [x, y, z] = self.axes;
        let [shear_x, shear_y, scale] = self.shear;
        let sheared = corners.map(|c| {
            let height = c[z] - self.exact_origin[z];
            let flat_x = c[x] - self.exact_origin[x] - shear_x * height;
            (flat_x, c[y] - self.exact_origin[y] - shear_y * height, height)
        });
        let [a, b, c] = sheared;
        let u = c.0 * b.1 - c.1 * b.0;
        let v = a.0 * c.1 - a.1 * c.0;
        let w = b.0 * a.1 - b.1 * a.0;
        if (u < 0.0 || v < 0.0 || w < 0.0) && (u > 0.0 || v > 0.0 || w > 0.0) {
            return None;
        }
        let sum = u + v + w;
        if sum == 0.0 {
            return None;
        }
        let distance = scale * (u * a.2 + v * b.2 + w * c.2) / sum;
        let is_met = distance >= -self.start_mm && distance <= far;
        is_met.then_some(Met {
            distance_mm: distance + self.start_mm,
            entering: sum > 0.0,
            on_edge: u == 0.0 || v == 0.0 || w == 0.0,
        })
    }
}

/// Visit the triangles that a ray meets, near boxes first; `visit` says how
/// far, mm from the ray's own start, is still of interest.
#[inline]
pub(super) fn visit(
    index: &RayIndex,
    ray: &Ray,
    reach_mm: f64,
    mut visit: impl FnMut(usize, Met) -> f64,
) {
    let mut far = reach_mm - ray.start_mm;
    let mut stack = [(0_u32, 0.0_f32); STACK];
    let mut waiting = usize::from(!index.nodes.is_empty());
    while waiting > 0 {
        waiting -= 1;
        let (node, entered) = stack[waiting];
        if f64::from(entered) > far {
            continue;
        }
        let node = &index.nodes[node as usize];
        // The box test rounds; what it misses at the far end is less than this.
        let enter = ray.enter(node, (far * (1.0 + 1e-6)) as f32);
        let mut children = [0, 1, 2, 3];
        sort_four(&mut children, &enter);
        // Leaves first: they bring the far end closer.
        for place in children {
            let child = node.children[place];
            if enter[place] == f32::INFINITY || child.count == 0 {
                continue;
            }
            for triangle in child.first as usize..(child.first + child.count) as usize {
                if let Some(met) = ray.meet(&index.triangles[triangle], far) {
                    far = visit(triangle, met) - ray.start_mm;
                }
            }
        }
        for place in children.into_iter().rev() {
            if node.children[place].count == 0 && enter[place] < f32::INFINITY {
                stack[waiting] = (node.children[place].first, enter[place]);
                waiting += 1;
            }
        }
    }
}

#[inline]
fn sort_four(places: &mut [usize; 4], by: &[f32; 4]) {
    for (a, b) in [(0, 1), (2, 3), (0, 2), (1, 3), (1, 2)] {
        if by[places[b]] < by[places[a]] {
            places.swap(a, b);
        }
    }
}

pub(super) fn first(
    index: &RayIndex,
    from: PatientPoint,
    along: Direction,
    reach_mm: f64,
) -> Option<Hit> {
    let ray = Ray::new(index, from, along, reach_mm)?;
    let mut best: Option<Hit> = None;
    visit(index, &ray, reach_mm, |triangle, met| {
        let hit = hit_of(index, triangle, met);
        // Of two at the same distance the one with the lower number, so that
        // the answer does not depend on the tree.
        best = match best {
            Some(b) if (b.distance_mm, b.triangle) <= (hit.distance_mm, hit.triangle) => Some(b),
            _ => Some(hit),
        };
        best.map_or(reach_mm, |b| b.distance_mm)
    });
    best
}

pub(super) fn all(
    index: &RayIndex,
    from: PatientPoint,
    along: Direction,
    reach_mm: f64,
) -> Vec<Hit> {
    let mut hits = Vec::new();
    let Some(ray) = Ray::new(index, from, along, reach_mm) else { return hits };
    visit(index, &ray, reach_mm, |triangle, met| {
        hits.push(hit_of(index, triangle, met));
        reach_mm
    });
    hits.sort_by(|a, b| a.distance_mm.total_cmp(&b.distance_mm).then(a.triangle.cmp(&b.triangle)));
    // The triangles of an edge that was met exactly answer with one distance.
    hits.dedup_by(|b, a| {
        b.entering == a.entering && b.distance_mm - a.distance_mm <= 1e-9 * (1.0 + a.distance_mm)
    });
    hits
}

fn hit_of(index: &RayIndex, triangle: usize, met: Met) -> Hit {
    Hit { distance_mm: met.distance_mm, triangle: index.numbers[triangle], entering: met.entering }
}
