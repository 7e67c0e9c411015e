//! Inclination and anteversion of a socket.

use pilothole_assess::set::frames::murray;

use super::{Section, World};
use crate::row::{ERROR_HEADS, Row, Tag, figures};

fn murrays(world: &World) -> Vec<f64> {
    let mut errors = Vec::new();
    for (inclination, anteversion) in
        [(40.0_f64, 15.0_f64), (45.0, 20.0), (30.0, 5.0), (50.0, 25.0)]
    {
        let (si, ci) = inclination.to_radians().sin_cos();
        let (sa, ca) = anteversion.to_radians().sin_cos();
        let told = murray([si * ca, sa, -ci * ca]);
        let case = format!("{inclination} {anteversion}");
        for (name, pair) in [
            ("radiographic", told.radiographic),
            ("operative", told.operative),
            ("anatomical", told.anatomical),
        ] {
            for (angle, found) in ["inclination", "anteversion"].iter().zip(pair) {
                let want = world.worked.value("angles", &case, &format!("{name} {angle}"));
                errors.push(found.to_degrees() - want);
            }
        }
    }
    errors
}

pub(super) fn section(world: &World) -> Section {
    Section {
        title: "Angles of the socket",
        claim: "Inclination and anteversion are told in three definitions, each by its name.".to_owned(),
        heads: ERROR_HEADS.to_vec(),
        rows: vec![Row {
            id: "angles-murray",
            what: "four orientations in three definitions".to_owned(),
            source: "Murray DW 1993 J Bone Joint Surg Br 75:228, identities worked in Python".to_owned(),
            tag: Tag::Derived,
            figures: figures(&murrays(world), "degree"),
            test: "crates/assess/tests/set_reconstruction.rs `the_socket_is_told_in_three_definitions`",
            needs_scan: false,
        }],
        remarks: "The definitions are confirmed by the paper's abstract; its printed tables were not seen.".to_owned(),
    }
}
