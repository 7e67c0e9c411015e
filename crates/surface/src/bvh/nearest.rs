//! The nearest point.

use pilothole_volume::{Offset, PatientPoint};

use super::{Corners, Near, Node, RayIndex};

/// As for rays: three waiting boxes a level.
const STACK: usize = 3 * 64;

pub(super) fn nearest(index: &RayIndex, at: PatientPoint, reach_mm: f64) -> Option<Near> {
    let exact = at - index.middle;
    let from = exact.0.map(|c| c as f32);
    let mut best: Option<Near> = None;
    let mut limit = reach_mm * reach_mm;
    let mut stack = [(0_u32, 0.0_f32); STACK];
    let mut waiting = usize::from(!index.nodes.is_empty());
    while waiting > 0 {
        waiting -= 1;
        let (node, squared) = stack[waiting];
        if f64::from(squared) > limit {
            continue;
        }
        let node = &index.nodes[node as usize];
        let squared = squared_distances(node, from);
        let mut children = [0, 1, 2, 3];
        children.sort_unstable_by(|a: &usize, b| squared[*a].total_cmp(&squared[*b]));
        for place in children {
            let child = node.children[place];
            // An empty place has an infinite box.
            if child.count == 0 || f64::from(squared[place]) > limit {
                continue;
            }
            for triangle in child.first as usize..(child.first + child.count) as usize {
                let point = closest(&index.triangles[triangle], exact);
                let squared = (point - exact).dot(point - exact);
                if squared < limit {
                    limit = squared;
                    best = Some(Near {
                        distance_mm: squared.sqrt(),
                        at: index.middle + point,
                        triangle: index.numbers[triangle],
                    });
                }
            }
        }
        for place in children.into_iter().rev() {
            let child = node.children[place];
            if child.count == 0 && f64::from(squared[place]) <= limit && squared[place].is_finite()
            {
                stack[waiting] = (child.first, squared[place]);
                waiting += 1;
            }
        }
    }
    best
}

/// Lower bounds of the squared distances to the four boxes.
#[inline]
fn squared_distances(node: &Node, from: [f32; 3]) -> [f32; 4] {
    let mut squared = [0.0_f32; 4];
    for (axis, from) in from.into_iter().enumerate() {
        for (n, squared) in squared.iter_mut().enumerate() {
            let below = node.low[axis][n] - from;
            let above = from - node.high[axis][n];
            let out = if below > above { below } else { above };
            let out = if out > 0.0 { out } else { 0.0 };
            *squared += out * out;
        }
    }
    // Less than the exact value by more than the rounding.
    squared.map(|s| s * 0.999_99)
}

/// The point of a triangle that is nearest to `at`.
///
/// Ericson 2005, "Real-time collision detection", section 5.1.5: which of the
/// triangle's corners, edges and face has `at` in its region.
fn closest(corners: &Corners, at: Offset) -> Offset {
    let [a, b, c] = corners.map(Offset);
    let less = |p: Offset, q: Offset| Offset(std::array::from_fn(|n| p.0[n] - q.0[n]));
    let plus = |p: Offset, q: Offset| Offset(std::array::from_fn(|n| p.0[n] + q.0[n]));
    let (ab, ac) = (less(b, a), less(c, a));
    let from_a = less(at, a);
    let (d1, d2) = (ab.dot(from_a), ac.dot(from_a));
    if d1 <= 0.0 && d2 <= 0.0 {
        return a;
    }
    let from_b = less(at, b);
    let (d3, d4) = (ab.dot(from_b), ac.dot(from_b));
    if d3 >= 0.0 && d4 <= d3 {
        return b;
    }
    let beside_c = d1 * d4 - d3 * d2;
    if beside_c <= 0.0 && d1 >= 0.0 && d3 <= 0.0 {
        return plus(a, ab * (d1 / (d1 - d3)));
    }
    let from_c = less(at, c);
    let (d5, d6) = (ab.dot(from_c), ac.dot(from_c));
    if d6 >= 0.0 && d5 <= d6 {
        return c;
    }
    let beside_b = d5 * d2 - d1 * d6;
    if beside_b <= 0.0 && d2 >= 0.0 && d6 <= 0.0 {
        return plus(a, ac * (d2 / (d2 - d6)));
    }
    let beside_a = d3 * d6 - d5 * d4;
    if beside_a <= 0.0 && d4 - d3 >= 0.0 && d5 - d6 >= 0.0 {
        let part = (d4 - d3) / ((d4 - d3) + (d5 - d6));
        return plus(b, less(c, b) * part);
    }
    let sum = beside_a + beside_b + beside_c;
    plus(a, plus(ab * (beside_b / sum), ac * (beside_c / sum)))
}
