//! What a reader is told beside the numbers: marks in the kit, rules on a card,
//! the error of a density.

mod common;

use common::{Made, bytes, text};
use pilothole_assess::{EdgeRule, Finding};
use pilothole_report::{record, write_all};

#[test]
fn what_is_ordered_is_marked_where_it_is_not_to_be_had_as_planned() {
    let mut made = Made::usual();
    let breach = Finding::new("side.breach", "The screw breaks out sideways.").of_hole(1);
    made.holes[1].findings.push(breach);
    let made = made;
    let (record, files) = (record(&made.case()), write_all(&made.case()));
    let mut table = csv::Reader::from_reader(bytes(&files, "kit.csv"));
    let heads = table.headers().expect("heads").clone();
    let at = heads.iter().position(|head| head == "marks").expect("a head");
    let set = record.set.as_ref().expect("a set");
    let (mut marked, mut clear, mut broken) = (0, 0, 0);
    for (row, line) in table.records().zip(record.kit.as_ref().expect("a kit")) {
        let row = row.expect("a row");
        for id in &line.holes {
            let meets = set.clash.iter().any(|c| c.a == *id || c.b == *id);
            let blocked = set.access.iter().any(|a| a.hole == *id && !a.clear);
            assert_eq!(row[at].contains(&format!("{id}: clash.screws too near ")), meets, "{id}");
            assert_eq!(row[at].contains(&format!("{id}: access.blocked ")), blocked, "{id}");
            let breaks = record.findings_of(id).any(|f| f.code == "side.breach");
            let said = row[at].contains(&format!("{id}: side.breach breaks out sideways"));
            assert_eq!(said, breaks, "{id}");
            broken += usize::from(breaks);
            marked += usize::from(meets || blocked || breaks);
            clear += usize::from(!meets && !blocked && !breaks);
        }
    }
    assert!(marked > 0 && clear > 0, "{marked} marked, {clear} clear");
    assert!(broken > 0);
    assert!(text(&files, "report.html").contains("(clash.screws)"));
}

#[test]
fn a_card_says_by_which_rule_an_end_lies_and_how_far_it_may_be_off() {
    let mut made = Made::usual();
    let far = made.holes[0].far.as_mut().expect("an end");
    (far.rule, far.se_mm, far.cortex_mm, far.most_off_mm) =
        (EdgeRule::Halfway, None, None, Some(1.24));
    let far = made.holes[1].far.as_mut().expect("an end");
    (far.rule, far.se_mm, far.cortex_mm, far.most_off_mm) = (EdgeRule::Halfway, None, None, None);
    let files = write_all(&made.case());
    let page = text(&files, "report.html");
    let plain: String =
        page.split('<').filter_map(|part| part.split_once('>')).map(|p| p.1).collect();
    assert!(plain.contains("(by a fitted plate, error 0.2 mm; cortex along the path 2.1 mm)"));
    assert!(plain.contains("too far out where thin, by up to 1.2 mm; thickness unknown)"));
    assert!(plain.contains("too far out where thin, by how much is unknown; thickness unknown)"));
}

#[test]
fn the_error_of_a_density_is_that_of_the_line_at_its_mean() {
    let made = Made::usual();
    let record = record(&made.case());
    let mut seen = 0;
    for hole in &record.holes {
        let (Some(hu), Some(density)) = (&hole.hu, &hole.density_mg_cm3) else { continue };
        let mean = hu.thread.mean.expect("a mean");
        let want = (mean * 0.0666).hypot(15.0);
        assert!((density.se.expect("known") - want).abs() < 0.006, "{mean} HU: {want}");
        seen += 1;
    }
    assert!(seen > 0);
    let mut case = made.case();
    let line = case.calibration.as_mut().expect("a line");
    line.slope_se = None;
    let unknown = pilothole_report::record(&case);
    let errors = unknown.holes.iter().filter_map(|hole| hole.density_mg_cm3.as_ref());
    assert!(errors.map(|density| density.se).all(|se| se.is_none()));
}
