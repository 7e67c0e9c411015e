//! Two pictures of the page, drawn from its rows.

use crate::claims::{Section, World};
use crate::row::Row;

/// A drawing beside the page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    /// Title of the section that it stands in.
    pub section: &'static str,
    /// Its place in the repository.
    pub place: &'static str,
    /// What it shows, for who cannot see it.
    pub alt: &'static str,
    /// The drawing.
    pub svg: String,
}

/// Every picture that the rows allow.
pub fn pictures(world: &World, sections: &[Section]) -> Vec<Picture> {
    let rows: Vec<&Row> = sections.iter().flat_map(|section| &section.rows).collect();
    ends(&rows).into_iter().chain([lengths(world, &rows)]).collect()
}

const WIDTH: f64 = 640.0;
/// Left edge of the drawing, after the labels.
const LEFT: f64 = 250.0;
/// Right edge, before the numbers.
const RIGHT: f64 = 540.0;
/// Height of a line.
const LINE: f64 = 26.0;
/// Where the first line stands.
const TOP: f64 = 62.0;

/// A label, from and to as shares of the width, and what is written beside.
struct Bar {
    label: String,
    from: f64,
    to: f64,
    number: String,
    is_ours: bool,
}

/// Bars below a title; `scale` are shares of the width and their words.
fn bars(title: &str, scale: &[(f64, &str)], bars: &[Bar]) -> String {
    let height = TOP + LINE * bars.len() as f64 + 14.0;
    let at = |share: f64| LEFT + share.clamp(0.0, 1.0) * (RIGHT - LEFT);
    let mut lines = vec![
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH:.0} {height:.0}\" role=\"img\" font-family=\"sans-serif\" font-size=\"13\">"
        ),
        format!("<title>{title}</title>"),
        format!("<rect width=\"{WIDTH:.0}\" height=\"{height:.0}\" fill=\"#fff\"/>"),
        format!("<text x=\"12\" y=\"22\" font-size=\"15\">{title}</text>"),
    ];
    for (share, word) in scale {
        let x = at(*share);
        lines.push(format!(
            "<text x=\"{x:.0}\" y=\"44\" fill=\"#555\" text-anchor=\"middle\">{word}</text>\n\
             <path d=\"M{x:.0} 50V{:.0}\" stroke=\"#ccc\"/>",
            height - 8.0
        ));
    }
    for (bar, y) in bars.iter().zip((0..).map(|line| TOP + LINE * f64::from(line))) {
        let (from, to) = (at(bar.from.min(bar.to)), at(bar.from.max(bar.to)));
        let fill = if bar.is_ours { "#1f5f8b" } else { "#999" };
        lines.push(format!(
            "<text x=\"12\" y=\"{:.0}\">{}</text>\n\
             <rect x=\"{from:.0}\" y=\"{:.0}\" width=\"{:.0}\" height=\"12\" fill=\"{fill}\"/>\n\
             <text x=\"{:.0}\" y=\"{:.0}\">{}</text>",
            y + 11.0,
            bar.label,
            y,
            (to - from).max(2.0),
            RIGHT + 10.0,
            y + 11.0,
            bar.number
        ));
    }
    lines.push("</svg>\n".to_owned());
    lines.join("\n")
}

/// Mean error of the ends by the thickness of the cortex.
fn ends(rows: &[&Row]) -> Option<Picture> {
    /// Shown to each side, mm.
    const REACH_MM: f64 = 1.0;
    let share = |mm: f64| 0.5 + 0.5 * mm / REACH_MM;
    let drawn: Vec<Bar> = rows
        .iter()
        .filter_map(|row| {
            let case = row.id.strip_prefix("ends-")?;
            let bias: f64 = row.figures[2].parse().ok()?;
            Some(Bar {
                label: match case {
                    "of-hip" => "made hip".to_owned(),
                    thickness => format!("plates, cortex {thickness} mm"),
                },
                from: share(0.0),
                to: share(bias),
                number: row.figures[2].clone(),
                is_ours: true,
            })
        })
        .collect();
    let scale = [(0.0, "1 mm too deep"), (0.5, "0"), (1.0, "1 mm too far out")];
    (!drawn.is_empty()).then(|| Picture {
        section: "Cortex and the ends of the bone",
        place: "docs/pictures/validation-ends.svg",
        alt: "Mean error of the bone's ends by the thickness of the cortex",
        svg: bars("Mean error of the bone's ends, mm", &scale, &drawn),
    })
}

/// How often the length is right, beside people.
fn lengths(world: &World, rows: &[&Row]) -> Picture {
    let people = [
        ("surgeon, junior", "surgeon junior"),
        ("surgeon, senior", "surgeon senior"),
        ("depth gauge", "depth gauge"),
    ]
    .map(|(label, case)| (label, world.worked.value("published", case, "right size %"), false));
    let ours = [
        ("phantoms, thin cortices", "length-thin"),
        ("phantoms, thick cortices", "length-thick"),
        ("phantoms of the study", "length-study"),
    ];
    let ours = ours.into_iter().filter_map(|(label, id)| {
        let row = rows.iter().find(|row| row.id == id)?;
        Some((label, row.figures[1].trim_end_matches(" %").parse().ok()?, true))
    });
    let drawn: Vec<Bar> = people
        .into_iter()
        .chain(ours)
        .map(|(label, per_cent, is_ours)| Bar {
            label: label.to_owned(),
            from: 0.0,
            to: per_cent / 100.0,
            number: format!("{per_cent:.1} %"),
            is_ours,
        })
        .collect();
    Picture {
        section: "Recommended length",
        place: "docs/pictures/validation-lengths.svg",
        alt: "How often the length is right: people in bone, grey, and the rule in phantoms, blue",
        svg: bars(
            "How often the length is right",
            &[(0.0, "0"), (0.5, "50 %"), (1.0, "100 %")],
            &drawn,
        ),
    }
}
