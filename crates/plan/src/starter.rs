//! A first plan around a socket, with every field explained.

use pilothole_volume::{Direction, Offset, PatientPoint};

use crate::landmark::Side;
use crate::model::Plan;
use crate::problem::{Format, PlanRefusal};

/// What must be known to begin a plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NewPlan {
    /// The operated hip.
    pub side: Side,
    /// Planned hip centre, mm, LPS.
    pub centre: PatientPoint,
    /// Out of the socket's mouth.
    pub axis: Direction,
    /// Outer diameter of the socket, mm, 20 to 120.
    pub outer_diameter_mm: f64,
}

/// Polar angle from the socket's dome, degrees, and number of holes, of each
/// ring of a first plan; the rings stay 25° from the rim.
const RINGS: [(&str, f64, u32); 3] = [("dome", 0.0, 1), ("inner", 32.0, 6), ("outer", 65.0, 8)];

/// A plan with a regular set of holes over the socket, as commented TOML.
///
/// The holes stand square on the outer surface: one in the dome, six at 32°
/// and eight at 65° from it, counted from the patient's head towards the back.
///
/// # Errors
///
/// [`PlanRefusal`] when a number is out of the plan file's range.
pub fn new_plan(wanted: &NewPlan) -> Result<String, PlanRefusal> {
    let mut text = base_plan(wanted)?;
    text.push_str(HOLES);
    let mut comments = HOLE_COMMENTS;
    for (ring, polar_deg, count) in RINGS {
        for i in 0..count {
            let azimuth = std::f64::consts::TAU * f64::from(i) / f64::from(count);
            let out = outwards(wanted.axis, polar_deg.to_radians(), azimuth);
            let seat = wanted.centre + out * (wanted.outer_diameter_mm / 2.0);
            text.push_str(&hole(&format!("{ring}-{}", i + 1), seat, out, comments));
            comments = [""; 7];
        }
    }
    Plan::parse(&text, Format::Toml).map(|_| text)
}

/// A plan without holes, as commented TOML.
///
/// # Errors
///
/// As [`new_plan`].
pub fn base_plan(wanted: &NewPlan) -> Result<String, PlanRefusal> {
    let text = HEAD
        .replace("{schema}", Plan::SCHEMA)
        .replace("{side}", wanted.side.word())
        .replace("{centre}", &triple(wanted.centre.0, 3))
        .replace("{axis}", &triple(wanted.axis.components(), 6))
        .replace("{diameter}", &format!("{:?}", wanted.outer_diameter_mm));
    Plan::parse(&text, Format::Toml).map(|_| text)
}

/// The direction at an angle from the dome; azimuth 0 is as near to the head
/// as the socket's plane allows, and turns towards the patient's back.
fn outwards(axis: Direction, polar_rad: f64, azimuth_rad: f64) -> Direction {
    let flat = |v: Offset| Direction::along(v - axis * axis.offset().dot(v));
    let head = flat(Direction::SUPERIOR.offset())
        .or_else(|| flat(Direction::POSTERIOR.offset()))
        .unwrap_or(axis.across().0);
    let mut back = Offset(axis.components()).cross(head.offset());
    if back.dot(Direction::POSTERIOR.offset()) < 0.0 {
        back = -back;
    }
    let side = head * azimuth_rad.cos() + back * azimuth_rad.sin();
    let out = axis * -polar_rad.cos() + side * polar_rad.sin();
    Direction::along(out).unwrap_or(-axis)
}

fn hole(id: &str, seat: PatientPoint, direction: Direction, comments: [&str; 7]) -> String {
    let lines = [
        format!("id = \"{id}\""),
        "zone = \"cup\"".to_owned(),
        format!("seat_mm = {}", triple(seat.0, 3)),
        format!("direction = {}", triple(direction.components(), 6)),
        "screw = \"HB 6.5\"".to_owned(),
        "swivel_deg = 12.0".to_owned(),
    ];
    let mut text = String::from("\n[[hole]]\n");
    for (line, comment) in lines.iter().zip(comments) {
        text.push_str(line);
        text.push_str(comment);
        text.push('\n');
    }
    text.push_str(comments[6]);
    text
}

fn triple(of: [f64; 3], digits: usize) -> String {
    // A rounded -0 loses its sign.
    let [x, y, z] = of.map(|c| {
        let rounded = format!("{c:.digits$}");
        if rounded.trim_start_matches(['-', '0', '.']).is_empty() {
            format!("{:.digits$}", 0.0)
        } else {
            rounded
        }
    });
    format!("[{x}, {y}, {z}]")
}

const HOLE_COMMENTS: [&str; 7] = [
    "                  # free text, unique, at most 64 characters",
    "                   # cup | flange",
    "  # where the underside of the head seats",
    "  # unit vector into bone",
    "                 # a thread of the table (`pilothole screws`), or a [[screw]] below",
    "                 # half-angle allowed about the direction; 0 or absent: fixed",
    "# region = \"ilium\"               # the bone meant: ilium | ischium | pubis\n\
     # length_mm = 40.0               # planned length, seat to tip\n\
     # seat_shift_mm = 2.0            # how far the seat may be moved on its surface\n",
];

const HOLES: &str = "
# The holes: one in the dome, then rings around it, counted from the head
# towards the back. Each stands square on the socket's outer surface.
";

const HEAD: &str = "# A plan for the screws of one acetabular component.
# Points in millimetres, angles in degrees. Lines that begin with # are comments.
schema = \"{schema}\"
side = \"{side}\"                   # left | right, the operated hip
coordinates = \"LPS\"             # LPS: x to the patient's left, y to the back, z to the head; or RAS
# order = [\"dome-1\", \"inner-1\"] # your own order of filling: every hole once

[socket]
centre_mm = {centre}  # planned hip centre
axis = {axis}  # unit vector out of the socket's mouth
outer_diameter_mm = {diameter}

[policy]
far_cortex = \"stop-short\"       # stop-short | engage: what becomes of the far cortex
margin_mm = 2.0                 # kept before the far cortex, or allowed beyond it
side_margin_mm = 1.0            # bone wanted around a screw
screw_gap_mm = 1.0              # wanted between the surfaces of two screws

# [bone]                        # what is left out is resolved and echoed
# threshold_hu = 226.0

# [approach]                    # what limits a drill outside the bone
# axis = [0.0, 0.0, 1.0]        # unit vector out of the wound
# half_angle_deg = 45.0         # of the cone about it
# drill_length_mm = 120.0
# drill_radius_mm = 6.0         # of what travels behind the bit: sleeve, chuck

# [component]
# mesh = \"part.stl\"             # the component's shape, mm, same coordinates

# [guide]                       # the sleeves of a drill guide
# sleeve_radius_mm = 5.0        # outer
# sleeve_length_mm = 20.0
# clearance_mm = 0.2            # difference of the diameters of sleeve and bit

# [calibration]                 # HU to density, if the scan has a phantom or the site a line
# material = \"HA\"               # HA | K2HPO4
# slope = 0.8                   # mg/cm3 per HU
# intercept = 0.0               # mg/cm3 at 0 HU

# [load]
# body_mass_kg = 75.0
# bone_contact = false          # whether the part may press on bone beside its screws

# [[screw]]                     # a thread of your own, or the lengths you stock
# name = \"HB 6.5\"
# stocked_lengths_mm = [20, 25, 30, 35, 40, 45, 50]

# [[landmark]]                  # asis-, psis-, pubic-tubercle-, hip-centre-, teardrop-,
# name = \"asis-left\"            # lesser-trochanter-, ischial-tuberosity- with left or right
# at_mm = [0.0, 0.0, 0.0]
";

#[cfg(test)]
mod tests {
    use super::*;

    fn wanted(axis: [f64; 3]) -> NewPlan {
        NewPlan {
            side: Side::Right,
            centre: PatientPoint([-88.0, 10.0, -20.0]),
            axis: Direction::along(Offset(axis)).expect("has length"),
            outer_diameter_mm: 54.0,
        }
    }

    #[test]
    fn a_first_plan_reads_and_its_holes_stand_square_on_the_socket() {
        for axis in [[-0.6, -0.3, -0.7], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]] {
            let text = new_plan(&wanted(axis)).unwrap_or_else(|r| panic!("{r}"));
            let plan = Plan::parse(&text, Format::Toml).expect("reads");
            assert_eq!(plan.holes.len(), 15);
            for hole in &plan.holes {
                let out = hole.seat - plan.socket.centre;
                assert!((out.length_mm() - 27.0).abs() < 2e-3);
                assert!((out - hole.direction * 27.0).length_mm() < 2e-3);
                assert!(hole.direction.dot(plan.socket.axis) < -0.4);
            }
        }
    }

    #[test]
    fn the_first_of_a_ring_is_the_one_nearest_the_head() {
        let text = new_plan(&wanted([-0.6, -0.3, -0.7])).expect("reads");
        let plan = Plan::parse(&text, Format::Toml).expect("reads");
        let ring: Vec<_> = plan.holes.iter().filter(|h| h.id.starts_with("outer")).collect();
        assert!(ring.iter().all(|h| h.seat.0[2] <= ring[0].seat.0[2]));
        assert!(ring[2].seat.0[1] > ring[6].seat.0[1]);
    }

    #[test]
    fn every_comment_in_the_head_is_a_field_that_reads() {
        let text = base_plan(&wanted([0.0, 0.0, -1.0])).expect("reads");
        let live: Vec<&str> = text
            .lines()
            .skip(2)
            .filter(|l| !l.contains("order ="))
            .map(|l| l.strip_prefix("# ").unwrap_or(l))
            .collect();
        let plan = Plan::parse(&live.join("\n"), Format::Toml).unwrap_or_else(|r| panic!("{r}"));
        assert!(plan.approach.is_some() && plan.load.is_some() && plan.calibration.is_some());
    }

    #[test]
    fn a_socket_out_of_range_is_refused() {
        let mut big = wanted([0.0, 0.0, 1.0]);
        big.outer_diameter_mm = 400.0;
        assert_eq!(new_plan(&big).expect_err("refused").problems[0].code, "plan.range");
    }
}
