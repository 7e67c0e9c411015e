//! The bones of the made pelvis, and what lies around them.

use pilothole_volume::{Direction, Offset, PatientPoint};

use super::HALF_WIDTH_MM;
use crate::pose::Pose;
use crate::scene::{Scene, Tissue};
use crate::solid::Solid;

/// What may be varied.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct HipNumbers {
    /// Thickness of the cortex relative to the drawn one.
    pub(crate) cortex_share: f64,
    /// HU of cortex.
    pub(crate) cortex_hu: f64,
    /// Added to the HU of cancellous bone everywhere.
    pub(crate) cancellous_shift_hu: f64,
}

/// Which bone is which in the labels.
const LEFT_HIP: u8 = 1;
const RIGHT_HIP: u8 = 2;
const SACRUM: u8 = 3;
const LEFT_FEMUR: u8 = 4;
const RIGHT_FEMUR: u8 = 5;

const MUSCLE_HU: f64 = 52.0;
const FAT_HU: f64 = -102.0;
/// What fills a socket without a head: scar and fluid.
const SCAR_HU: f64 = 30.0;
/// Cartilage and fluid between a head and its socket.
const CARTILAGE_HU: f64 = 70.0;

/// A convex piece of bone: its outer shape, cortex and inside.
struct Piece {
    outer: Solid,
    cortex_mm: f64,
    cancellous_hu: f64,
}

fn at(x: f64, y: f64, z: f64) -> PatientPoint {
    PatientPoint([x, y, z])
}

/// A place relative to the left hip centre.
fn near(x: f64, y: f64, z: f64) -> PatientPoint {
    at(HALF_WIDTH_MM + x, y, z)
}

fn along(x: f64, y: f64, z: f64) -> Direction {
    Direction::along(Offset([x, y, z])).unwrap_or(Direction::LEFT)
}

fn ball(centre: PatientPoint, radius_mm: f64) -> Solid {
    Solid::Ball { centre, radius_mm }
}

fn tube(from: PatientPoint, to: PatientPoint, radius_mm: f64) -> Solid {
    Solid::Capsule { from, to, radius_mm }
}

fn piece(outer: Solid, cortex_mm: f64, cancellous_hu: f64) -> Piece {
    Piece { outer, cortex_mm, cancellous_hu }
}

/// Out of the anatomical socket's mouth.
pub(super) fn mouth() -> Direction {
    along(0.72, -0.30, -0.62)
}

pub(super) fn scene(numbers: &HipNumbers) -> Scene {
    let mut scene = Scene::empty();
    let trunk = |inset: f64| Solid::Ellipsoid {
        centre: at(0.0, 8.0, 0.0),
        axes: [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR],
        radii_mm: [152.0 - inset, 102.0 - inset, 4000.0],
    };
    scene.paint(trunk(0.0), Tissue::Fat, FAT_HU, 0);
    scene.paint(trunk(14.0), Tissue::Muscle, MUSCLE_HU, 0);

    let left = Pose::HOME;
    let right = Pose::MIRRORED;
    let worn = Solid::Union(vec![ball(worn_centre(), WORN_RADIUS_MM), rim_defect()]);
    let healthy = ball(near(0.0, 0.0, 0.0), 26.5);
    bone(&mut scene, numbers, &hip_bone(), (&worn, 1.0), (&left, LEFT_HIP));
    bone(&mut scene, numbers, &hip_bone(), (&healthy, 2.0), (&right, RIGHT_HIP));
    let nothing = ball(at(0.0, -4000.0, 0.0), 1.0);
    bone(&mut scene, numbers, &sacrum(), (&nothing, 0.0), (&left, SACRUM));

    scene.paint(worn, Tissue::Muscle, SCAR_HU, 0);
    scene.paint(healthy.moved(&right), Tissue::Muscle, CARTILAGE_HU, 0);
    cyst(&mut scene);

    let mut femur = shaft();
    bone(&mut scene, numbers, &femur, (&nothing, 0.0), (&left, LEFT_FEMUR));
    femur.extend(head_and_neck());
    bone(&mut scene, numbers, &femur, (&nothing, 0.0), (&right, RIGHT_FEMUR));
    scene
}

/// All cortex first, then all insides, so that pieces open into each other;
/// a hollow is kept free, and lined.
fn bone(
    scene: &mut Scene,
    numbers: &HipNumbers,
    pieces: &[Piece],
    (hollow, lining_mm): (&Solid, f64),
    (pose, label): (&Pose, u8),
) {
    for piece in pieces {
        let outer = piece.outer.clone().without(hollow.clone());
        scene.paint(outer.moved(pose), Tissue::Cortical, numbers.cortex_hu, label);
    }
    let lined = hollow.inset(-lining_mm * numbers.cortex_share);
    for piece in pieces {
        let inner = piece.outer.inset(piece.cortex_mm * numbers.cortex_share);
        let inner = inner.without(lined.clone());
        let hu = piece.cancellous_hu + numbers.cancellous_shift_hu;
        scene.paint(inner.moved(pose), Tissue::Cancellous, hu, label);
    }
}

/// Radius of the worn socket, mm.
pub(super) const WORN_RADIUS_MM: f64 = 30.0;

/// The worn socket has wandered up and in.
pub(super) fn worn_centre() -> PatientPoint {
    near(-1.5, 1.0, 3.5)
}

/// What is gone of the upper, outer rim.
fn rim_defect() -> Solid {
    ball(near(22.0, -8.0, 25.0), 13.0)
}

/// A contained hole in the ischium, filled with soft tissue.
fn cyst(scene: &mut Scene) {
    let cyst = Solid::Ellipsoid {
        centre: near(-10.0, 25.0, -31.0),
        axes: [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR],
        radii_mm: [6.0, 6.5, 8.0],
    };
    scene.paint(cyst, Tissue::Cancellous, 20.0, LEFT_HIP);
}

fn hip_bone() -> Vec<Piece> {
    let mut pieces = ilium();
    pieces.extend(lower_hip());
    pieces
}

/// The wing, a curved plate, and the columns that strengthen it down to the
/// block above the socket.
fn ilium() -> Vec<Piece> {
    // Along the wing from front to back, up along it, and out of its back.
    let back = along(-0.57, 0.82, 0.0);
    let up = along(0.24, 0.0, 0.97);
    let out = Direction::along(back.offset().cross(up.offset())).unwrap_or(Direction::LEFT);
    let middle = near(10.0, 4.0, 72.0);
    let bend = middle + out * -150.0;
    let wing = Solid::Common(vec![
        ball(bend, 154.0).without(ball(bend, 146.0)),
        Solid::Ellipsoid { centre: middle, axes: [back, up, out], radii_mm: [66.0, 50.0, 40.0] },
    ]);
    let block = Solid::Ellipsoid {
        centre: near(1.0, 4.0, 32.0),
        axes: [back, up, out],
        radii_mm: [36.0, 34.0, 17.0],
    };
    vec![
        piece(wing, 1.6, 190.0),
        piece(block, 1.8, 290.0),
        // Towards the sacro-iliac joint.
        piece(tube(near(-8.0, 12.0, 26.0), at(54.0, 54.0, 60.0), 13.0), 2.0, 270.0),
        // The pillar to the crest, and the front border.
        piece(tube(near(8.0, -4.0, 34.0), near(26.0, -16.0, 108.0), 7.0), 1.8, 230.0),
        piece(tube(near(6.0, -20.0, 22.0), near(40.0, -46.0, 72.0), 8.0), 1.8, 180.0),
    ]
}

/// Socket, ischium and pubis.
fn lower_hip() -> Vec<Piece> {
    let mouth = mouth();
    let socket = Solid::Common(vec![
        ball(near(-7.0, 2.0, 5.0), 39.0),
        // The inner wall.
        Solid::HalfSpace { on: near(-34.5, 0.0, 0.0), outwards: along(-0.97, -0.16, -0.12) },
        Solid::HalfSpace { on: near(0.0, 0.0, 0.0) + mouth * 7.0, outwards: mouth },
    ]);
    let tuber = near(-18.0, 33.0, -62.0);
    vec![
        piece(socket, 1.6, 260.0),
        // The back column down to the seat bone.
        piece(tube(near(-12.0, 27.0, 16.0), near(-8.0, 25.0, -22.0), 13.0), 2.0, 250.0),
        piece(tube(near(-8.0, 25.0, -22.0), tuber, 14.0), 2.2, 210.0),
        piece(ball(near(-19.0, 32.0, -64.0), 16.0), 2.0, 170.0),
        piece(tube(near(-24.0, 24.0, -70.0), at(22.0, -22.0, -60.0), 6.0), 1.8, 120.0),
        // The upper branch of the pubis, its body, and the lower branch.
        piece(tube(near(-14.0, -24.0, -2.0), at(40.0, -46.0, -16.0), 9.5), 1.6, 125.0),
        piece(tube(at(40.0, -46.0, -16.0), at(15.0, -54.0, -28.0), 8.5), 1.6, 115.0),
        piece(ball(at(14.5, -53.0, -33.0), 10.5), 1.6, 115.0),
        piece(tube(at(15.0, -50.0, -36.0), at(22.0, -22.0, -60.0), 6.5), 1.8, 120.0),
    ]
}

fn sacrum() -> Vec<Piece> {
    let tilted = along(0.0, 0.34, 0.94);
    let back = along(0.0, 0.94, -0.34);
    let wedge = Solid::Ellipsoid {
        centre: at(0.0, 66.0, 58.0),
        axes: [Direction::LEFT, back, tilted],
        radii_mm: [38.0, 21.0, 46.0],
    };
    vec![
        piece(wedge, 1.4, 150.0),
        piece(tube(at(0.0, 72.0, 30.0), at(0.0, 76.0, -8.0), 8.0), 1.2, 120.0),
    ]
}

/// Shaft and trochanters, hip left.
fn shaft() -> Vec<Piece> {
    vec![
        piece(ball(near(40.0, 8.0, -18.0), 15.5), 1.6, 110.0),
        piece(tube(near(36.0, 6.0, -30.0), near(26.0, 6.0, -120.0), 14.0), 4.5, 40.0),
        piece(ball(near(20.0, 17.0, -52.0), 8.0), 1.8, 120.0),
    ]
}

fn head_and_neck() -> Vec<Piece> {
    vec![
        piece(ball(near(0.0, 0.0, 0.0), 23.0), 1.4, 330.0),
        piece(tube(near(4.0, 0.0, -3.0), near(33.0, 4.0, -26.0), 13.0), 2.4, 200.0),
    ]
}
