//! Analytic solids: where a point lies, how far the surface is, and exactly
//! where a ray goes in and out.

use pilothole_volume::{Direction, Offset, PatientPoint};

use crate::intervals::Intervals;
use crate::pose::Pose;

/// A closed set of points with a closed-form surface, mm, LPS.
#[derive(Clone, Debug, PartialEq)]
pub enum Solid {
    /// Everything on the inner side of a plane.
    HalfSpace {
        /// A point of the plane.
        on: PatientPoint,
        /// Out of the solid.
        outwards: Direction,
    },
    /// A ball.
    Ball {
        /// Its centre.
        centre: PatientPoint,
        /// mm.
        radius_mm: f64,
    },
    /// An ellipsoid.
    Ellipsoid {
        /// Its centre.
        centre: PatientPoint,
        /// Its axes, square to each other.
        axes: [Direction; 3],
        /// Half-length along each, mm.
        radii_mm: [f64; 3],
    },
    /// A brick, or a plate.
    Brick {
        /// Its centre.
        centre: PatientPoint,
        /// Its axes, square to each other.
        axes: [Direction; 3],
        /// Half-length along each, mm.
        half_mm: [f64; 3],
    },
    /// A round rod with flat ends.
    Rod {
        /// Centre of one end.
        from: PatientPoint,
        /// Centre of the other.
        to: PatientPoint,
        /// mm.
        radius_mm: f64,
    },
    /// A round rod with round ends: all within `radius_mm` of a segment.
    Capsule {
        /// One end of the segment.
        from: PatientPoint,
        /// The other.
        to: PatientPoint,
        /// mm.
        radius_mm: f64,
    },
    /// All that lies in any of them.
    Union(Vec<Self>),
    /// All that lies in each of them.
    Common(Vec<Self>),
    /// What lies in the first and not in the second.
    Without(Box<Self>, Box<Self>),
}

/// How a distance is meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Distance {
    /// Exact to first order near the surface; far away only its sign counts.
    Near,
    /// Never farther from zero than the true distance; the sign is right.
    Bound,
}

impl Solid {
    /// This solid with a piece taken away.
    #[must_use]
    pub fn without(self, other: Self) -> Self {
        Self::Without(Box::new(self), Box::new(other))
    }

    /// Whether a point belongs.
    pub fn holds(&self, at: PatientPoint) -> bool {
        self.distance_mm(at, Distance::Near) <= 0.0
    }

    /// Signed distance to the surface, mm, negative inside.
    pub fn distance_mm(&self, at: PatientPoint, meant: Distance) -> f64 {
        match self {
            Self::HalfSpace { on, outwards } => (at - *on).dot(outwards.offset()),
            Self::Ball { centre, radius_mm } => at.distance_mm(*centre) - radius_mm,
            Self::Ellipsoid { centre, axes, radii_mm } => {
                ellipsoid_mm(in_frame(at - *centre, axes), *radii_mm, meant)
            }
            Self::Brick { centre, axes, half_mm } => {
                let local = in_frame(at - *centre, axes);
                brick_mm(&std::array::from_fn::<_, 3, _>(|i| local[i].abs() - half_mm[i]))
            }
            Self::Rod { from, to, radius_mm } => {
                let (along, across, length) = cylindrical(at, *from, *to);
                let beyond = (along - length / 2.0).abs() - length / 2.0;
                brick_mm(&[across - radius_mm, beyond])
            }
            Self::Capsule { from, to, radius_mm } => {
                let whole = *to - *from;
                let share = ((at - *from).dot(whole) / whole.dot(whole)).clamp(0.0, 1.0);
                at.distance_mm(*from + whole * share) - radius_mm
            }
            Self::Union(all) => {
                all.iter().map(|s| s.distance_mm(at, meant)).fold(f64::INFINITY, f64::min)
            }
            Self::Common(all) => {
                all.iter().map(|s| s.distance_mm(at, meant)).fold(f64::NEG_INFINITY, f64::max)
            }
            Self::Without(whole, piece) => {
                whole.distance_mm(at, meant).max(-piece.distance_mm(at, meant))
            }
        }
    }

    /// Where the ray from `from` along `along` is inside, over all t, mm.
    pub fn crossed_by(&self, from: PatientPoint, along: Direction) -> Intervals {
        match self {
            Self::HalfSpace { on, outwards } => slab(
                (from - *on).dot(outwards.offset()),
                along.dot(*outwards),
                f64::NEG_INFINITY,
                0.0,
            ),
            Self::Ball { centre, radius_mm } => {
                let to = from - *centre;
                quadratic(1.0, to.dot(along.offset()), to.dot(to) - radius_mm * radius_mm)
            }
            Self::Ellipsoid { centre, axes, radii_mm } => {
                let to = in_frame(from - *centre, axes);
                let d = in_frame(along.offset(), axes);
                let scaled = |v: [f64; 3]| Offset(std::array::from_fn(|i| v[i] / radii_mm[i]));
                let (to, d) = (scaled(to), scaled(d));
                quadratic(d.dot(d), d.dot(to), to.dot(to) - 1.0)
            }
            Self::Brick { centre, axes, half_mm } => {
                let to = in_frame(from - *centre, axes);
                let d = in_frame(along.offset(), axes);
                (0..3).fold(Intervals::one(f64::NEG_INFINITY, f64::INFINITY), |inside, i| {
                    inside.common(&slab(to[i], d[i], -half_mm[i], half_mm[i]))
                })
            }
            Self::Rod { from: a, to: b, radius_mm } => rod(from, along, (*a, *b), *radius_mm),
            Self::Capsule { from: a, to: b, radius_mm } => {
                let end = |centre: PatientPoint| {
                    Self::Ball { centre, radius_mm: *radius_mm }.crossed_by(from, along)
                };
                rod(from, along, (*a, *b), *radius_mm).union(&end(*a)).union(&end(*b))
            }
            Self::Union(all) => all
                .iter()
                .fold(Intervals::none(), |inside, s| inside.union(&s.crossed_by(from, along))),
            Self::Common(all) => all
                .iter()
                .map(|s| s.crossed_by(from, along))
                .reduce(|inside, other| inside.common(&other))
                .unwrap_or_else(Intervals::none),
            Self::Without(whole, piece) => {
                whole.crossed_by(from, along).without(&piece.crossed_by(from, along))
            }
        }
    }

    /// The same solid in a patient that was moved.
    #[must_use]
    pub fn moved(&self, pose: &Pose) -> Self {
        let axes = |axes: &[Direction; 3]| axes.map(|a| pose.direction(a));
        match self {
            Self::HalfSpace { on, outwards } => {
                Self::HalfSpace { on: pose.point(*on), outwards: pose.direction(*outwards) }
            }
            Self::Ball { centre, radius_mm } => {
                Self::Ball { centre: pose.point(*centre), radius_mm: *radius_mm }
            }
            Self::Ellipsoid { centre, axes: a, radii_mm } => {
                Self::Ellipsoid { centre: pose.point(*centre), axes: axes(a), radii_mm: *radii_mm }
            }
            Self::Brick { centre, axes: a, half_mm } => {
                Self::Brick { centre: pose.point(*centre), axes: axes(a), half_mm: *half_mm }
            }
            Self::Rod { from, to, radius_mm } => {
                Self::Rod { from: pose.point(*from), to: pose.point(*to), radius_mm: *radius_mm }
            }
            Self::Capsule { from, to, radius_mm } => Self::Capsule {
                from: pose.point(*from),
                to: pose.point(*to),
                radius_mm: *radius_mm,
            },
            Self::Union(all) => Self::Union(all.iter().map(|s| s.moved(pose)).collect()),
            Self::Common(all) => Self::Common(all.iter().map(|s| s.moved(pose)).collect()),
            Self::Without(whole, piece) => whole.moved(pose).without(piece.moved(pose)),
        }
    }

    /// The same solid with its walls `by_mm` farther in: what is left inside a
    /// shell of that thickness. Exact for a single shape, but for an ellipsoid
    /// (each half-length shrinks, so the shell is thinner on its flanks) and a
    /// union (each part shrinks on its own); a piece taken away grows.
    /// A part that would vanish keeps a thousandth of a millimetre.
    #[must_use]
    pub fn inset(&self, by_mm: f64) -> Self {
        let less = |mm: f64| (mm - by_mm).max(1e-3);
        match self {
            Self::HalfSpace { on, outwards } => {
                Self::HalfSpace { on: *on + *outwards * -by_mm, outwards: *outwards }
            }
            Self::Ball { centre, radius_mm } => {
                Self::Ball { centre: *centre, radius_mm: less(*radius_mm) }
            }
            Self::Ellipsoid { centre, axes, radii_mm } => {
                Self::Ellipsoid { centre: *centre, axes: *axes, radii_mm: radii_mm.map(less) }
            }
            Self::Brick { centre, axes, half_mm } => {
                Self::Brick { centre: *centre, axes: *axes, half_mm: half_mm.map(less) }
            }
            Self::Rod { from, to, radius_mm } => {
                let whole = *to - *from;
                let half = whole.length_mm() / 2.0;
                let end = whole * (0.5 * less(half) / half);
                let middle = *from + whole * 0.5;
                Self::Rod { from: middle - end, to: middle + end, radius_mm: less(*radius_mm) }
            }
            Self::Capsule { from, to, radius_mm } => {
                Self::Capsule { from: *from, to: *to, radius_mm: less(*radius_mm) }
            }
            Self::Union(all) => Self::Union(all.iter().map(|s| s.inset(by_mm)).collect()),
            Self::Common(all) => Self::Common(all.iter().map(|s| s.inset(by_mm)).collect()),
            Self::Without(whole, piece) => whole.inset(by_mm).without(piece.inset(-by_mm)),
        }
    }
}

fn in_frame(offset: Offset, axes: &[Direction; 3]) -> [f64; 3] {
    axes.map(|a| offset.dot(a.offset()))
}

/// Distance of a brick's surface from how far each coordinate is beyond it.
fn brick_mm(beyond: &[f64]) -> f64 {
    let outside: f64 = beyond.iter().map(|b| b.max(0.0).powi(2)).sum();
    let inside = beyond.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if inside > 0.0 { outside.sqrt() } else { inside }
}

fn ellipsoid_mm(at: [f64; 3], radii_mm: [f64; 3], meant: Distance) -> f64 {
    let scaled = Offset(std::array::from_fn(|i| at[i] / radii_mm[i]));
    let level = scaled.length_mm();
    match meant {
        Distance::Bound => (level - 1.0) * radii_mm.into_iter().fold(f64::INFINITY, f64::min),
        Distance::Near => {
            let slope = Offset(std::array::from_fn(|i| scaled.0[i] / radii_mm[i])).length_mm();
            if slope > 0.0 { level * (level - 1.0) / slope } else { -radii_mm[0] }
        }
    }
}

/// Position along and across the axis of a rod, and the rod's length, mm.
fn cylindrical(at: PatientPoint, from: PatientPoint, to: PatientPoint) -> (f64, f64, f64) {
    let whole = to - from;
    let length = whole.length_mm();
    let along = (at - from).dot(whole) / length;
    let across = ((at - from) - whole * (along / length)).length_mm();
    (along, across, length)
}

/// Where `start + t * speed` lies between two limits.
fn slab(start: f64, speed: f64, low: f64, high: f64) -> Intervals {
    if speed.abs() < 1e-15 {
        return if (low..=high).contains(&start) {
            Intervals::one(f64::NEG_INFINITY, f64::INFINITY)
        } else {
            Intervals::none()
        };
    }
    let (a, b) = ((low - start) / speed, (high - start) / speed);
    Intervals::one(a.min(b), a.max(b))
}

/// Where a t² + 2 b t + c is not above zero; `a` not negative.
fn quadratic(a: f64, b: f64, c: f64) -> Intervals {
    let discriminant = b * b - a * c;
    if a < 1e-15 {
        return if c <= 0.0 {
            Intervals::one(f64::NEG_INFINITY, f64::INFINITY)
        } else {
            Intervals::none()
        };
    }
    if discriminant <= 0.0 {
        return Intervals::none();
    }
    let root = discriminant.sqrt();
    Intervals::one((-b - root) / a, (-b + root) / a)
}

fn rod(
    from: PatientPoint,
    along: Direction,
    (a, b): (PatientPoint, PatientPoint),
    radius_mm: f64,
) -> Intervals {
    let whole = b - a;
    let length = whole.length_mm();
    let Some(axis) = Direction::along(whole) else { return Intervals::none() };
    let to = from - a;
    let (height, climb) = (to.dot(axis.offset()), along.dot(axis));
    let (to_across, across) = (to - axis * height, along.offset() - axis * climb);
    quadratic(
        across.dot(across),
        across.dot(to_across),
        to_across.dot(to_across) - radius_mm * radius_mm,
    )
    .common(&slab(height, climb, 0.0, length))
}
