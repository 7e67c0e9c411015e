//! Least distance between a segment and a triangle.

use pilothole_volume::{Offset, PatientPoint};

/// Distance (mm) between a segment and a triangle, and the two nearest points,
/// segment first. Exact.
pub(crate) fn segment_to_triangle(
    segment: [PatientPoint; 2],
    corners: &[PatientPoint; 3],
) -> (f64, PatientPoint, PatientPoint) {
    if let Some(at) = crossing(segment, corners) {
        return (0.0, at, at);
    }
    let mut best = (f64::INFINITY, segment[0], corners[0]);
    let mut consider = |a: PatientPoint, b: PatientPoint| {
        let distance = a.distance_mm(b);
        if distance < best.0 {
            best = (distance, a, b);
        }
    };
    for i in 0..3 {
        let (a, b) = nearest_on_segments(segment, [corners[i], corners[(i + 1) % 3]]);
        consider(a, b);
    }
    for end in segment {
        if let Some(foot) = foot_inside(end, corners) {
            consider(end, foot);
        }
    }
    best
}

fn at(segment: [PatientPoint; 2], t: f64) -> PatientPoint {
    segment[0] + (segment[1] - segment[0]) * t
}

/// The two nearest points of two segments.
fn nearest_on_segments(p: [PatientPoint; 2], q: [PatientPoint; 2]) -> (PatientPoint, PatientPoint) {
    let (d, e, r) = (p[1] - p[0], q[1] - q[0], p[0] - q[0]);
    let (a, b, c) = (d.dot(d), d.dot(e), e.dot(e));
    let (f, g) = (d.dot(r), e.dot(r));
    let on_p = |u: f64| if a > 0.0 { ((u * b - f) / a).clamp(0.0, 1.0) } else { 0.0 };
    let determinant = a * c - b * b;
    let start = if determinant > 1e-14 * a * c {
        ((b * g - c * f) / determinant).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let u = if c > 0.0 { ((start * b + g) / c).clamp(0.0, 1.0) } else { 0.0 };
    (at(p, on_p(u)), at(q, u))
}

fn normal(corners: &[PatientPoint; 3]) -> Offset {
    (corners[1] - corners[0]).cross(corners[2] - corners[0])
}

/// Whether a point of the triangle's plane lies inside it.
fn is_inside(point: PatientPoint, corners: &[PatientPoint; 3], normal: Offset) -> bool {
    (0..3).all(|i| {
        let edge = corners[(i + 1) % 3] - corners[i];
        edge.cross(point - corners[i]).dot(normal) >= 0.0
    })
}

/// Where a point projects into the triangle, if it does.
fn foot_inside(point: PatientPoint, corners: &[PatientPoint; 3]) -> Option<PatientPoint> {
    let normal = normal(corners);
    let square = normal.dot(normal);
    if square <= 0.0 {
        return None;
    }
    let foot = point - normal * ((point - corners[0]).dot(normal) / square);
    is_inside(foot, corners, normal).then_some(foot)
}

/// Where a segment passes through the triangle.
fn crossing(segment: [PatientPoint; 2], corners: &[PatientPoint; 3]) -> Option<PatientPoint> {
    let normal = normal(corners);
    let (from, to) = ((segment[0] - corners[0]).dot(normal), (segment[1] - corners[0]).dot(normal));
    if from * to > 0.0 || (from - to).abs() <= 0.0 {
        return None;
    }
    let through = at(segment, from / (from - to));
    is_inside(through, corners, normal).then_some(through)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_have_their_closed_forms() {
        let triangle = [[0.0, 0.0, 0.0], [10.0, 0.0, 0.0], [0.0, 10.0, 0.0]].map(PatientPoint);
        let rows = [
            // Over the face, through it, beside an edge, beyond a corner, crossing above an edge.
            ([[2.0, 2.0, 3.0], [2.0, 2.0, 9.0]], 3.0),
            ([[2.0, 2.0, 3.0], [2.0, 2.0, -9.0]], 0.0),
            ([[-4.0, 2.0, -5.0], [-4.0, 2.0, 5.0]], 4.0),
            ([[13.0, 0.0, 4.0], [20.0, 0.0, 4.0]], 5.0),
            ([[5.0, -5.0, 2.0], [5.0, 5.0, 2.0]], 2.0),
        ];
        for (segment, want) in rows {
            let (found, on_segment, on_triangle) =
                segment_to_triangle(segment.map(PatientPoint), &triangle);
            assert!((found - want).abs() < 1e-12, "{found} != {want}");
            assert!((on_segment.distance_mm(on_triangle) - found).abs() < 1e-12);
        }
    }
}
