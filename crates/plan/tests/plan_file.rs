//! Plan files from outside: what is read, and every way to be refused.

use pilothole_plan::{
    Calibration, FarCortex, Format, LandmarkKind, LandmarkName, Origin, Plan, PlanProblem, Side,
    json_schema,
};
use proptest::prelude::*;

const SAMPLE: &str = include_str!("sample.toml");

fn read(text: &str) -> Plan {
    Plan::parse(text, Format::Toml).unwrap_or_else(|refusal| panic!("{refusal}"))
}

fn problems(text: &str) -> Vec<PlanProblem> {
    Plan::parse(text, Format::Toml).expect_err("refused").problems
}

/// The line of the sample that `found` is first on, counted from 1.
fn line(text: &str, found: &str) -> usize {
    text.lines().position(|l| l.contains(found)).expect("in the text") + 1
}

/// Change the sample once and expect one problem: its code, on the changed line.
fn check(was: &str, becomes: &str, code: &str) -> PlanProblem {
    assert!(SAMPLE.contains(was), "the sample does not hold {was}");
    let text = SAMPLE.replacen(was, becomes, 1);
    let all = problems(&text);
    assert_eq!(all.len(), 1, "{all:?}");
    let problem = all[0].clone();
    assert_eq!(problem.code, code, "{problem:?}");
    let changed = becomes.lines().last().expect("a line");
    assert_eq!(problem.line, Some(line(&text, changed)), "{problem:?}");
    problem
}

#[test]
fn the_sample_is_read_as_written() {
    let plan = read(SAMPLE);
    assert_eq!(plan.side, Side::Left);
    assert_eq!(plan.order, Some(vec![1, 0, 2]));
    assert_eq!(plan.policy.far_cortex.value, FarCortex::StopShort);
    assert_eq!(plan.policy.margin_mm.from, Origin::Plan);
    assert_eq!(plan.guide.sleeve_length_mm.from, Origin::Plan);
    assert_eq!(plan.guide.clearance_mm.from, Origin::Default("no source"));
    let names: Vec<&str> = plan.screws.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["HB 6.5", "long shank", "HA 4.5"]);
    let hole = &plan.holes[0];
    assert_eq!(plan.screw_of(hole).stocked_lengths_mm.len(), 9);
    assert!(plan.screw_of(hole).source.starts_with("ISO 5835"));
    assert_eq!(plan.screw_of(hole).lengths_source, "plan");
    assert!((hole.swivel_rad - 0.209_439_510_239_319_5).abs() < 1e-15);
    assert_eq!(plan.screw_of(&plan.holes[2]).source, "plan");
    assert!(
        matches!(&plan.calibration, Some(Calibration::Inserts { inserts, .. }) if inserts.len() == 2)
    );
    let asis = LandmarkName { kind: LandmarkKind::Asis, side: Side::Left };
    assert_eq!(plan.landmark(asis).map(|p| p.0), Some([120.0, -50.0, 60.0]));
}

#[test]
fn what_is_left_out_is_resolved_and_says_so() {
    let short = "schema = \"pilothole/plan/1\"\nside = \"right\"\ncoordinates = \"LPS\"\n\
                 [socket]\ncentre_mm = [0, 0, 0]\naxis = [0, 0, 1]\nouter_diameter_mm = 50\n";
    let plan = read(short);
    assert!((plan.policy.margin_mm.value - 2.0).abs() < 1e-12);
    assert!(matches!(plan.policy.far_cortex.from, Origin::Default(_)));
    assert!(plan.holes.is_empty() && plan.approach.is_none() && plan.load.is_none());
    let again = read(&plan.resolved_toml());
    assert!((again.policy.margin_mm.value - 2.0).abs() < 1e-12);
}

#[test]
fn a_resolved_plan_reads_to_itself() {
    let once = read(SAMPLE).resolved_toml();
    let twice = read(&once);
    assert_eq!(twice.holes, read(SAMPLE).holes);
    assert_eq!(twice.socket, read(SAMPLE).socket);
    assert_eq!(twice.landmarks, read(SAMPLE).landmarks);
    let thrice = read(&twice.resolved_toml());
    assert_eq!(thrice, twice);
    assert_eq!(thrice.resolved_toml(), twice.resolved_toml());
}

#[test]
fn ras_is_the_same_plan_in_other_axes() {
    let turn = |line: &str| -> String {
        let Some((name, list)) = line.split_once(" = [") else { return line.to_owned() };
        if !["centre_mm", "axis", "at_mm", "seat_mm", "direction"].contains(&name) {
            return line.to_owned();
        }
        let numbers: Vec<f64> =
            list.trim_end_matches(']').split(", ").map(|n| n.parse().expect("a number")).collect();
        format!("{name} = [{:?}, {:?}, {:?}]", -numbers[0], -numbers[1], numbers[2])
    };
    let ras: Vec<String> = SAMPLE.replace("\"LPS\"", "\"RAS\"").lines().map(turn).collect();
    assert_eq!(read(&ras.join("\n")), read(SAMPLE));
}

#[test]
fn json_has_the_same_fields() {
    let table: toml::Table = SAMPLE.parse().expect("toml");
    let json = serde_json::to_string_pretty(&table).expect("json");
    let plan = Plan::parse(&json, Format::Json).unwrap_or_else(|r| panic!("{r}"));
    assert_eq!(plan, read(SAMPLE));

    let wrong = json.replace("\"zone\": \"cup\"", "\"zoen\": \"cup\"");
    let refusal = Plan::parse(&wrong, Format::Json).expect_err("refused");
    let unknown = refusal.problems.iter().find(|p| p.nearest.is_some()).expect("a nearest word");
    assert_eq!(unknown.line, Some(line(&wrong, "zoen")));
    assert_eq!(unknown.nearest.as_deref(), Some("zone"));

    let cut = Plan::parse(&json[..json.len() / 2], Format::Json).expect_err("refused");
    assert_eq!(cut.problems[0].code, "plan.syntax");
    let twice = json.replace("\"zone\": \"cup\"", "\"id\": \"z\",\n\"zone\": \"cup\"");
    let twice = Plan::parse(&twice, Format::Json).expect_err("refused");
    assert_eq!(twice.problems[0].code, "plan.syntax");
    assert!(Plan::parse("[1]", Format::Json).is_err());
}

#[test]
fn a_misspelt_field_is_named_with_its_line_and_the_nearest_word() {
    let problem = check("length_mm = 45.0", "lenght_mm = 45.0", "plan.field");
    assert_eq!(problem.nearest.as_deref(), Some("length_mm"));
    check("body_mass_kg = 75.0", "body_mass_kg = 75.0\ncolour = 3", "plan.field");
    let problem = check("side = \"left\"", "side = \"lefft\"", "plan.side");
    assert_eq!(problem.nearest.as_deref(), Some("left"));
    let problem = check("zone = \"cup\"", "zone = \"cpu\"", "plan.field");
    assert_eq!(problem.nearest.as_deref(), Some("cup"));
    let problem = check("name = \"asis-left\"", "name = \"asis-lft\"", "plan.field");
    assert_eq!(problem.nearest.as_deref(), Some("asis-left"));
    check("plan/1\"", "plan/2\"", "plan.field");
    check("seat_mm = [95.1, 20.3, -5.2]", "seat_mm = [95.1, 20.3]", "plan.field");
    check("seat_mm = [95.1, 20.3, -5.2]", "seat_mm = \"here\"", "plan.field");
    check("order = [\"b\", \"a\", \"c\"]", "order = [\"b\", \"a\", \"c\", \"d\"]", "plan.field");
    check("order = [\"b\", \"a\", \"c\"]", "order = [\"b\", \"a\"]", "plan.field");
    check("material = \"HA\"", "material = \"HAP\"", "plan.field");
}

#[test]
fn missing_fields_are_named_with_their_table() {
    let text = SAMPLE.replace("seat_mm = [95.1, 20.3, -5.2]\n", "");
    let all = problems(&text);
    assert_eq!((all[0].code, all[0].line), ("plan.field", Some(line(&text, "[[hole]]"))));
    assert!(all[0].text.contains("`seat_mm` is missing"));
}

#[test]
fn a_direction_that_is_not_unit_is_refused_not_normalised() {
    let was = "direction = [-0.6, 0.0, 0.8]";
    let problem = check(was, "direction = [-0.6, 0.0, 0.9]", "plan.direction");
    assert!((problem.measured.expect("a number") - 1.0817).abs() < 1e-4);
    assert!(problem.next[0].contains("0.832050"), "{:?}", problem.next);
    check(was, "direction = [0, 0, 0]", "plan.direction");
    let plan = read(&SAMPLE.replace(was, "direction = [-0.6, 0.0, 0.8007]"));
    assert!((plan.holes[1].direction.offset().length_mm() - 1.0).abs() < 1e-15);
}

#[test]
fn numbers_out_of_range_are_refused_with_number_and_limit() {
    let problem = check("outer_diameter_mm = 58.0", "outer_diameter_mm = 580", "plan.range");
    assert_eq!((problem.measured, problem.limit), (Some(580.0), Some(120.0)));
    assert_eq!(problem.unit, Some("mm"));
    for (was, becomes) in [
        ("margin_mm = 2.0", "margin_mm = nan"),
        ("margin_mm = 2.0", "margin_mm = inf"),
        ("margin_mm = 2.0", "margin_mm = -0.1"),
        ("swivel_deg = 12.0", "swivel_deg = 180"),
        ("body_mass_kg = 75.0", "body_mass_kg = 0"),
        ("length_mm = 40.0", "length_mm = 15.0"),
        ("core_diameter_mm = 3.0", "core_diameter_mm = 6.5"),
        ("thread_start_mm = 14.0", "thread_start_mm = 201"),
        ("id = \"a\"", "id = \"\""),
        ("id = \"iliac flange\"", "id = \"iliac\\u0007flange\""),
        ("stocked_lengths_mm = [20, 25", "stocked_lengths_mm = [25, 20"),
        ("at_mm = [120.0, -50.0, 60.0]", "at_mm = [120.0, -50.0, 6e9]"),
    ] {
        check(was, becomes, "plan.range");
    }
    let long = format!("id = \"{}\"", "x".repeat(65));
    check("id = \"iliac flange\"", &long, "plan.range");
}

#[test]
fn duplicates_are_refused_with_both_lines() {
    for (was, becomes) in [
        ("name = \"hip-centre-right\"", "name = \"asis-right\""),
        ("name = \"long shank\"", "name = \"HB 6.5\""),
        ("id = \"c\"", "id = \"b\""),
    ] {
        let text = SAMPLE.replace(was, becomes);
        let all = problems(&text);
        let double = all.iter().find(|p| p.code == "plan.duplicate").expect("a duplicate");
        let last =
            text.lines().count() - text.lines().rev().position(|l| l == becomes).expect("there");
        assert_eq!(double.line, Some(last));
        assert!(double.text.contains(&format!("line {}", line(&text, becomes))), "{double:?}");
    }
    let twice = problems(&SAMPLE.replace("[\"b\", \"a\", \"c\"]", "[\"b\", \"a\", \"c\", \"a\"]"));
    assert_eq!((twice[0].code, twice[0].line), ("plan.duplicate", Some(4)));
}

#[test]
fn an_unknown_screw_is_refused_with_the_nearest() {
    let problem = check("screw = \"HA 4.5\"", "screw = \"HA4.5\"", "plan.screw");
    assert_eq!(problem.nearest.as_deref(), Some("HA 4.5"));
    let text = SAMPLE.replace("pitch_mm = 2.75\n", "");
    assert_eq!(problems(&text)[0].code, "plan.screw");
}

#[test]
fn a_side_that_the_landmarks_contradict_is_refused() {
    let all = problems(&SAMPLE.replace("side = \"left\"", "side = \"right\""));
    assert!(all.iter().all(|p| p.code == "plan.side" && p.line == Some(2)), "{all:?}");
    // A mirrored patient, x the other way round, is no contradiction.
    let mirrored = SAMPLE.replace("[92.0,", "[-92.0,").replace("[120.0, -50", "[-121.0, -50");
    let mirrored =
        mirrored.replacen("[-120.0, -50", "[120.0, -50", 1).replace("[-90.0, 12", "[90.0, 12");
    read(&mirrored);
}

#[test]
fn everything_is_said_at_once_in_order_of_lines() {
    let text = SAMPLE
        .replace("outer_diameter_mm = 58.0", "outer_diameter_mm = 5")
        .replace("zone = \"cup\"", "zoen = \"cup\"")
        .replace("margin_mm = 2.0", "margin_mm = true");
    let all = problems(&text);
    assert!(all.len() >= 4, "{all:?}");
    assert!(all.windows(2).all(|w| w[0].line <= w[1].line));
    let syntax = problems("side = \ncoordinates = [\n");
    assert_eq!((syntax[0].code, syntax[0].line), ("plan.syntax", Some(1)));
}

#[test]
fn the_schema_is_a_schema_and_closes_every_table() {
    let schema: serde_json::Value = serde_json::from_str(&json_schema()).expect("json");
    assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
    assert_eq!(schema["additionalProperties"], false);
    let parts = schema["$defs"].as_object().expect("parts");
    assert!(parts.len() >= 11);
    assert!(parts.values().all(|part| part["additionalProperties"] == false));
    assert_eq!(parts["hole"]["properties"]["seat_mm"]["minItems"], 3);
    assert_eq!(parts["hole"]["properties"]["swivel_deg"]["maximum"], 89.0);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// Any few changed, lost or repeated bytes: a plan or a refusal with a
    /// code, soon, never a panic.
    #[test]
    fn a_damaged_plan_never_panics(
        damage in proptest::collection::vec((0..4_u8, 0..3000_usize, any::<u8>(), 0..80_usize), 1..6)
    ) {
        let mut bytes = SAMPLE.as_bytes().to_vec();
        for (how, at, byte, length) in damage {
            let at = at % bytes.len().max(1);
            let end = (at + length).min(bytes.len());
            match how {
                0 => bytes[at] = byte,
                1 => { bytes.drain(at..end); }
                2 => { let part = bytes[at..end].to_vec(); bytes.splice(at..at, part); }
                _ => bytes.insert(at, b"[]{}\"'=.\n#-e0"[usize::from(byte) % 13]),
            }
            if bytes.is_empty() { bytes.push(b'\n'); }
        }
        let text = String::from_utf8_lossy(&bytes);
        for format in [Format::Toml, Format::Json] {
            match Plan::parse(&text, format) {
                Ok(plan) => {
                    let again = Plan::parse(&plan.resolved_toml(), Format::Toml);
                    prop_assert!(again.is_ok(), "{again:?}");
                }
                Err(refusal) => {
                    prop_assert!(!refusal.problems.is_empty());
                    prop_assert!(refusal.problems.iter().all(|p| p.code.starts_with("plan.")));
                }
            }
        }
    }
}

#[test]
fn what_is_wrong_with_shape_and_with_sense_is_said_at_once() {
    let hole = |id: &str, more: &str| {
        format!(
            "[[hole]]\nid = \"{id}\"\nzone = \"cup\"\nseat_mm = [0.0, 0.0, 27.0]\n{more}\nscrew = \"HB 6.5\"\n"
        )
    };
    let text = [
        "schema = \"pilothole/plan/1\"\nside = \"middle\"\ncoordinates = \"LPS\"\n",
        "[socket]\ncentre_mm = [0.0, 0.0, 0.0]\naxis = [0.0, 0.0, -2.0]\nouter_diameter_mm = 54.0\n",
        &hole("a", "direction = [0.0, 0.0, 1.0]\nlenght_mm = 40.0"),
        &hole("a", "direction = [0.0, 0.0, 3.0]\nswivel_deg = 180.0"),
        &hole("b", "direction = \"up\""),
        &hole("c", "direction = [0.0, 0.0, 1.0]").replace("HB 6.5", "HB 65"),
    ]
    .concat();
    let all = problems(&text);
    let found: Vec<(&str, usize)> =
        all.iter().map(|p| (p.code, p.line.unwrap_or_default())).collect();
    let at = |word: &str, nth: usize| {
        text.lines().enumerate().filter(|(_, l)| l.contains(word)).nth(nth).expect("there").0 + 1
    };
    let want = [
        ("plan.side", at("side", 0)),
        ("plan.direction", at("axis", 0)),
        ("plan.field", at("lenght_mm", 0)),
        ("plan.duplicate", at("id = \"a\"", 1)),
        ("plan.direction", at("3.0]", 0)),
        ("plan.range", at("swivel_deg", 0)),
        ("plan.field", at("\"up\"", 0)),
        ("plan.screw", at("HB 65", 0)),
    ];
    assert_eq!(found, want, "{all:#?}");
}

#[test]
fn a_misshapen_screw_does_not_make_its_holes_wrong() {
    let text = SAMPLE.replacen("pitch_mm", "pich_mm", 1);
    let all = problems(&text);
    assert!(all.iter().all(|p| p.code == "plan.field"), "{all:#?}");
}
