//! Signed distance between two convex bodies given by their furthest points.
//!
//! Apart: the algorithm of Gilbert, Johnson and Keerthi (1988, IEEE J Robot
//! Autom 4:193), to [`GAP_TOLERANCE_MM`]. Overlapping: the shortest shift that
//! parts them, the best separating direction over the sphere; they meet where
//! their axes are nearest.

use pilothole_volume::{Direction, Offset, PatientPoint};

use super::body::Frustum;
use super::segment::nearest_points;

/// Largest error of a positive gap, mm.
pub const GAP_TOLERANCE_MM: f64 = 1e-7;

/// The room between two bodies, and where.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gap {
    /// Distance, mm; negative when they overlap.
    pub mm: f64,
    /// Point of the first nearest to the second; when they overlap, the point
    /// of its axis nearest to the other's axis.
    pub on_a: PatientPoint,
    /// The same of the second.
    pub on_b: PatientPoint,
}

/// A point of the difference of two bodies, and the two points it is of.
#[derive(Clone, Copy, Debug)]
struct Vertex {
    difference: Offset,
    on_a: PatientPoint,
    on_b: PatientPoint,
}

/// Signed distance between two bodies.
pub fn gap(a: &Frustum, b: &Frustum) -> Gap {
    apart(a, b).unwrap_or_else(|| overlap(a, b))
}

fn vertex(a: &Frustum, b: &Frustum, towards: Offset) -> Vertex {
    let on_a = a.furthest(towards);
    let on_b = b.furthest(-towards);
    Vertex { difference: on_a - on_b, on_a, on_b }
}

/// The distance of bodies that lie apart; `None` when they touch or overlap.
fn apart(a: &Frustum, b: &Frustum) -> Option<Gap> {
    let start = a.middle() - b.middle();
    let start = if start.length_mm() > 0.0 { start } else { Offset([1.0, 0.0, 0.0]) };
    let mut simplex = vec![vertex(a, b, -start)];
    let mut weights = vec![1.0];
    for _ in 0..400 {
        let nearest = blend(&simplex, &weights);
        let square = nearest.dot(nearest);
        if square < GAP_TOLERANCE_MM * GAP_TOLERANCE_MM {
            return None;
        }
        let next = vertex(a, b, -nearest);
        // The body lies beyond the plane through `next`, so this bounds the error.
        let lower = nearest.dot(next.difference) / square.sqrt();
        let known = simplex.iter().any(|v| (v.difference - next.difference).length_mm() < 1e-12);
        if square.sqrt() - lower < GAP_TOLERANCE_MM || known {
            break;
        }
        simplex.push(next);
        let (kept, new_weights) = nearest_of_simplex(&simplex);
        simplex = kept.iter().map(|i| simplex[*i]).collect();
        weights = new_weights;
        if simplex.len() == 4 {
            return None;
        }
    }
    let mix = |pick: fn(&Vertex) -> PatientPoint| {
        let sum = simplex.iter().zip(&weights).fold([0.0; 3], |sum, (v, w)| {
            let at = pick(v).0;
            std::array::from_fn(|i| sum[i] + w * at[i])
        });
        PatientPoint(sum)
    };
    let (on_a, on_b) = (mix(|v| v.on_a), mix(|v| v.on_b));
    Some(Gap { mm: on_a.distance_mm(on_b), on_a, on_b })
}

fn blend(simplex: &[Vertex], weights: &[f64]) -> Offset {
    simplex
        .iter()
        .zip(weights)
        .fold(Offset::ZERO, |sum, (vertex, weight)| sum + vertex.difference * *weight)
}

/// The corners that carry the simplex's point nearest to the origin, and their
/// weights; all four when the origin is inside.
fn nearest_of_simplex(simplex: &[Vertex]) -> (Vec<usize>, Vec<f64>) {
    let mut best: Option<(f64, Vec<usize>, Vec<f64>)> = None;
    for subset in 1_usize..1 << simplex.len() {
        let corners: Vec<usize> = (0..simplex.len()).filter(|i| subset >> i & 1 == 1).collect();
        let points: Vec<Offset> = corners.iter().map(|i| simplex[*i].difference).collect();
        let Some(weights) = affine_weights(&points) else { continue };
        if weights.iter().any(|w| *w < 0.0) {
            continue;
        }
        let at = points.iter().zip(&weights).fold(Offset::ZERO, |sum, (p, w)| sum + *p * *w);
        let square = at.dot(at);
        if best.as_ref().is_none_or(|(least, ..)| square < *least) {
            best = Some((square, corners, weights));
        }
    }
    best.map_or_else(|| (vec![0], vec![1.0]), |(_, corners, weights)| (corners, weights))
}

/// Weights, summing to 1, of the point of an affine hull nearest to the
/// origin; `None` when the points do not span it.
fn affine_weights(points: &[Offset]) -> Option<Vec<f64>> {
    let base = points[0];
    let edges: Vec<Offset> = points[1..].iter().map(|p| *p - base).collect();
    let n = edges.len();
    let mut rows: Vec<Vec<f64>> = (0..n)
        .map(|i| {
            let mut row: Vec<f64> = (0..n).map(|j| edges[i].dot(edges[j])).collect();
            row.push(-edges[i].dot(base));
            row
        })
        .collect();
    for column in 0..n {
        let pivot =
            (column..n).max_by(|a, b| rows[*a][column].abs().total_cmp(&rows[*b][column].abs()))?;
        rows.swap(column, pivot);
        let scale = edges[column].dot(edges[column]);
        if rows[column][column].abs() <= 1e-14 * scale {
            return None;
        }
        let above = rows[column].clone();
        for row in &mut rows[column + 1..] {
            let factor = row[column] / above[column];
            for (value, upper) in row.iter_mut().zip(&above) {
                *value -= factor * upper;
            }
        }
    }
    let mut weights = vec![0.0; n + 1];
    for row in (0..n).rev() {
        let known: f64 = (row + 1..n).map(|k| rows[row][k] * weights[k + 1]).sum();
        weights[row + 1] = (rows[row][n] - known) / rows[row][row];
    }
    weights[0] = 1.0 - weights[1..].iter().sum::<f64>();
    Some(weights)
}

/// Depth of bodies that overlap: the best of the directions in which their
/// outlines have corners, then of those nearby.
fn overlap(a: &Frustum, b: &Frustum) -> Gap {
    let separation = |towards: Offset| {
        let pair = vertex(a, b, towards);
        -pair.difference.dot(towards)
    };
    let mut best = a.axis.offset();
    let mut most = separation(best);
    let mut consider = |towards: Offset, best: &mut Offset| {
        let found = separation(towards);
        if found > most {
            most = found;
            *best = towards;
            return true;
        }
        false
    };
    let across = a.axis.offset().cross(b.axis.offset());
    let normal = Direction::along(across).map_or(a.axis.offset(), Direction::offset);
    for towards in [a.axis.offset(), b.axis.offset(), normal] {
        consider(towards, &mut best);
        consider(-towards, &mut best);
    }
    for axis in [a.axis, b.axis] {
        // Start the circle at the other body, so that the pair's own shape,
        // not the patient's axes, places the directions tried.
        let (u, v) = frame_about(axis, b.middle() - a.middle(), normal);
        for step in 0..72 {
            let (sin, cos) = (f64::from(step) * std::f64::consts::TAU / 72.0).sin_cos();
            consider(u * cos + v * sin, &mut best);
        }
    }
    let mut reach = 0.1;
    while reach > 1e-9 {
        let Some(direction) = Direction::along(best) else { break };
        let (u, v) = frame_about(direction, a.axis.offset(), b.axis.offset());
        let moved = (0..12).any(|step| {
            let (sin, cos) = (f64::from(step) * std::f64::consts::TAU / 12.0).sin_cos();
            let towards = best + u * (reach * cos) + v * (reach * sin);
            Direction::along(towards).is_some_and(|d| consider(d.offset(), &mut best))
        });
        if !moved {
            reach *= 0.5;
        }
    }
    // The furthest points do not say where: along a whole side they are equal.
    let [on_a, on_b] = nearest_points(a.ends(), b.ends());
    Gap { mm: most, on_a, on_b }
}

/// Two directions across `axis`, the first nearest to `first`, or to `second`
/// where `first` runs along the axis.
pub(crate) fn frame_about(
    axis: Direction,
    first: Offset,
    second: Offset,
) -> (Direction, Direction) {
    let across = |wanted: Offset| {
        let length = wanted.length_mm();
        let rest = wanted - axis * axis.offset().dot(wanted);
        if rest.length_mm() > 1e-6 * length { Direction::along(rest) } else { None }
    };
    let Some(u) = across(first).or_else(|| across(second)) else { return axis.across() };
    let v = axis.offset().cross(u.offset());
    (u, Direction::along(v).unwrap_or(u))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rod(from: [f64; 3], axis: [f64; 3], length_mm: f64, radius_mm: f64) -> Frustum {
        let axis = Direction::along(Offset(axis)).expect("has length");
        Frustum::cylinder(PatientPoint(from), axis, length_mm, radius_mm)
    }

    #[test]
    fn gaps_of_cylinders_have_their_closed_forms() {
        let base = rod([0.0; 3], [0.0, 0.0, 1.0], 40.0, 3.25);
        let rows = [
            // Side by side, crossing, coaxial, cap over side, rim over rim.
            (rod([10.0, 0.0, 5.0], [0.0, 0.0, 1.0], 30.0, 2.0), 4.75),
            (rod([-20.0, 9.0, 20.0], [1.0, 0.0, 0.0], 40.0, 2.0), 3.75),
            (rod([0.0, 0.0, 43.5], [0.0, 0.0, 1.0], 10.0, 3.25), 3.5),
            (rod([5.5, 0.0, 20.0], [1.0, 0.0, 0.0], 10.0, 1.0), 2.25),
            (rod([9.25, 0.0, 44.0], [0.0, 0.0, 1.0], 10.0, 2.0), 4.0_f64.hypot(4.0)),
            // Overlapping: crossing by 1 mm, parallel by 0.75 mm, end in end by 2 mm.
            (rod([-20.0, 4.25, 20.0], [1.0, 0.0, 0.0], 40.0, 2.0), -1.0),
            (rod([0.0, 4.5, 5.0], [0.0, 0.0, 1.0], 30.0, 2.0), -0.75),
            (rod([0.0, 0.0, 38.0], [0.0, 0.0, 1.0], 30.0, 3.25), -2.0),
        ];
        for (other, want) in rows {
            for (a, b) in [(&base, &other), (&other, &base)] {
                let found = gap(a, b);
                assert!((found.mm - want).abs() < 1e-6, "{} != {want}", found.mm);
            }
        }
    }

    #[test]
    fn crossing_cylinders_meet_where_their_axes_are_nearest() {
        // Axes that cross at any angle, 2 mm apart at 43.5 mm of the one and
        // 9.75 mm of the other: 6.5 - 2 mm deep there.
        let base = rod([0.0; 3], [0.0, 0.0, 1.0], 70.0, 3.25);
        for angle_deg in [90.0_f64, 60.0, 35.0, 120.0] {
            let (sin, cos) = angle_deg.to_radians().sin_cos();
            let from = [-9.75 * sin, 2.0, 43.5 - 9.75 * cos];
            let other = rod(from, [sin, 0.0, cos], 50.0, 3.25);
            let along = |of: &Frustum, at: PatientPoint| (at - of.from).dot(of.axis.offset());
            let found = gap(&base, &other);
            assert!((found.mm + 4.5).abs() < 1e-6, "{}", found.mm);
            let places = [along(&base, found.on_a), along(&other, found.on_b)];
            assert!((places[0] - 43.5).abs() < 1e-6, "{angle_deg}: {places:?}");
            assert!((places[1] - 9.75).abs() < 1e-6, "{angle_deg}: {places:?}");
        }
    }

    #[test]
    fn a_gap_is_the_least_over_all_pairs_of_surface_points() {
        let a = rod([0.0, 0.0, 0.0], [0.3, -0.2, 0.9], 30.0, 3.0);
        let b = Frustum { to_radius_mm: 0.5, ..rod([12.0, 3.0, 8.0], [0.5, 0.8, 0.2], 25.0, 2.5) };
        let rim = |body: &Frustum, step: usize, ring: usize| {
            let t = step as f64 / 200.0;
            let radius = body.from_radius_mm + t * (body.to_radius_mm - body.from_radius_mm);
            let (u, v) = body.axis.across();
            let angle = ring as f64 * std::f64::consts::TAU / 180.0;
            body.from
                + body.axis * (t * body.length_mm)
                + u * (radius * angle.cos())
                + v * (radius * angle.sin())
        };
        let mut least = f64::INFINITY;
        for step in 0..=200 {
            for ring in 0..180 {
                least = least.min(b.signed_distance_mm(rim(&a, step, ring)));
            }
        }
        let found = gap(&a, &b);
        assert!(found.mm <= least + 1e-6 && least - found.mm < 0.01, "{} {least}", found.mm);
        assert!(b.signed_distance_mm(found.on_a) - found.mm < 1e-6);
    }
}
