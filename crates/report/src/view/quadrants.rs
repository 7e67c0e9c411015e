//! Wasielewski's quadrants of a socket, for its chart.
//!
//! One line runs from the anterior superior iliac spine through the socket's
//! centre, a second across it there; the first parts front from back, the
//! second above from below (Wasielewski RC et al. 1990, J Bone Joint Surg Am
//! 72:501).

use maud::{Markup, html};
use pilothole_plan::{LandmarkKind, LandmarkName, Plan};

use super::camera::{Camera, View};
use super::room::{Room, is_free};

/// The spine has to lie at least this far from the socket's axis, mm, for the
/// line to have a direction. Own choice, no source.
const LEAST_OFF_AXIS_MM: f64 = 10.0;
/// Where a name may stand, in radii of the chart; the first that is free.
const NAME_AT: [f64; 4] = [0.78, 0.62, 0.9, 0.46];
/// Width of a letter of the names in the chart, generous.
const LETTER: f64 = 6.8;

/// Towards the spine in the chart, up positive, and whether the front lies to
/// the left of that; `None` where the plan names no spine.
fn towards_spine(plan: &Plan, camera: &Camera) -> Option<([f64; 2], bool)> {
    let spine = LandmarkName { kind: LandmarkKind::Asis, side: plan.side };
    let offset = plan.landmark(spine)? - plan.socket.centre;
    let place = [camera.right, camera.up].map(|axis| axis.offset().dot(offset));
    let length = place[0].hypot(place[1]);
    if length < LEAST_OFF_AXIS_MM {
        return None;
    }
    let [x, y] = place.map(|c| c / length);
    let left = camera.right.offset() * -y + camera.up.offset() * x;
    // The second patient axis points backwards.
    Some(([x, y], left.0[1] < 0.0))
}

/// Whether a plan names what the quadrants need.
pub(crate) fn has_quadrants(plan: &Plan) -> bool {
    towards_spine(plan, &Camera::of(View::Mouth, plan)).is_some()
}

/// The four names and the middle of each line of text, x right and y down,
/// clear of what is taken where a place is.
fn names(
    toward: [f64; 2],
    front_is_left: bool,
    radius: f64,
    taken: &[Room],
) -> [([f64; 2], &'static str); 4] {
    let [x, y] = toward;
    [(1.0, 1.0), (1.0, -1.0), (-1.0, 1.0), (-1.0, -1.0)].map(|(up, left)| {
        let at = |part: f64| {
            let half = std::f64::consts::FRAC_1_SQRT_2 * part * radius;
            [half * (up * x - left * y), -half * (up * y + left * x)]
        };
        let front = (left > 0.0) == front_is_left;
        let name = match (front, up > 0.0) {
            (true, true) => "anterior superior",
            (true, false) => "anterior inferior",
            (false, true) => "posterior superior",
            (false, false) => "posterior inferior",
        };
        let free = |part: &f64| is_free(boxed(at(*part), name), taken);
        let part = NAME_AT.into_iter().find(free).unwrap_or(NAME_AT[0]);
        (at(part), name)
    })
}

/// What a name covers: left, top, right, bottom.
fn boxed([x, y]: [f64; 2], name: &str) -> Room {
    let longest = name.split(' ').map(str::len).max().unwrap_or_default();
    let half = 0.5 * LETTER * longest as f64;
    [x - half, y + LINES[0] - 11.0, x + half, y + LINES[1] + 3.0]
}

/// Lines of a name above and below its middle, and of its text's foot, in the
/// chart.
const LINES: [f64; 2] = [-3.0, 11.0];

/// The two lines and the names between them, in a chart of a radius.
///
/// - `taken`: left, top, right and bottom of what no name should cover; what
///   the names cover is added.
pub(crate) fn quadrants(
    plan: &Plan,
    camera: &Camera,
    radius: f64,
    taken: &mut Vec<Room>,
) -> Markup {
    let Some(([x, y], front_is_left)) = towards_spine(plan, camera) else { return html! {} };
    let lines = [[x, y], [-y, x]].map(|line| line.map(|c| c * radius));
    let names = names([x, y], front_is_left, radius, taken);
    taken.extend(names.iter().map(|(at, name)| boxed(*at, name)));
    html! {
        @for [dx, dy] in lines {
            line .quadrant x1=(format!("{:.1}", -dx)) y1=(format!("{dy:.1}"))
                x2=(format!("{dx:.1}")) y2=(format!("{:.1}", -dy)) {}
        }
        @for ([px, py], name) in names {
            text .small .quadrantname text-anchor="middle" {
                @for (word, down) in name.split(' ').zip(LINES) {
                    tspan x=(format!("{px:.1}")) y=(format!("{:.1}", py + down)) { (word) }
                    " "
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pilothole_plan::Format;

    /// A left hip that looks left, its spine in front and above.
    fn plan(side: &str, sign: f64, spine: bool) -> Plan {
        let landmark = format!(
            "[[landmark]]\nname = \"asis-{side}\"\nat_mm = [{:?}, -60.0, 80.0]\n",
            100.0 * sign
        );
        let text = format!(
            "schema = \"pilothole/plan/1\"\nside = \"{side}\"\ncoordinates = \"LPS\"\n[socket]\n\
             centre_mm = [{:?}, 0.0, 0.0]\naxis = [{sign:?}, 0.0, 0.0]\nouter_diameter_mm = 54.0\n{}",
            90.0 * sign,
            if spine { landmark.as_str() } else { "" }
        );
        Plan::parse(&text, Format::Toml).expect("sound")
    }

    #[test]
    fn front_and_back_are_where_they_are_on_both_sides() {
        for (side, sign) in [("left", 1.0), ("right", -1.0)] {
            let plan = plan(side, sign, true);
            let camera = Camera::of(View::Mouth, &plan);
            let ([x, y], front_is_left) = towards_spine(&plan, &camera).expect("named");
            // The spine lies up and to the front.
            let place = camera.right.offset() * x + camera.up.offset() * y;
            assert!(place.0[1] < 0.0 && place.0[2] > 0.0, "{place:?}");
            let left = camera.right.offset() * -y + camera.up.offset() * x;
            assert_eq!(left.0[1] < 0.0, front_is_left);
            let drawn = quadrants(&plan, &camera, 150.0, &mut Vec::new()).into_string();
            assert_eq!(drawn.matches("<line").count(), 2);
            assert_eq!(drawn.matches("<text").count(), 4);
        }
    }

    #[test]
    fn without_the_spine_there_are_none() {
        let plan = plan("left", 1.0, false);
        let camera = Camera::of(View::Mouth, &plan);
        assert!(quadrants(&plan, &camera, 150.0, &mut Vec::new()).into_string().is_empty());
    }
}
