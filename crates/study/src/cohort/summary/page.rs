//! The page itself, top to bottom.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::errors::varied;
use super::plot::{distribution, scatter, shown};
use super::script::SCRIPT;
use super::style::STYLE;
use super::{INDEXED, Indexed, MEASURES, Overview, Tally};
use crate::cohort::GRADES;
use crate::cohort::place::case_folder;
use crate::cohort::record::Outcome;
use crate::cohort::table::{HOLES, JUDGED};

/// Judged columns whose errors are drawn; all are in the table.
const DRAWN_ERRORS: [&str; 5] =
    ["near_cortex_mm", "far_cortex_mm", "bone_depth_mm", "purchase_mm", "hu.thread.mean"];

impl Overview<'_> {
    /// The page, whole and self-contained.
    pub(in crate::cohort) fn page(&self, caution: &str) -> String {
        let page = html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    title { "Cohort of " (cases(self.manifest.rows().len())) }
                    style { (PreEscaped(STYLE)) }
                }
                body {
                    h1 { "Cohort of " (cases(self.manifest.rows().len())) }
                    p .caution { (caution) }
                    (self.counts())
                    (self.refusals())
                    (self.distributions())
                    (self.grades())
                    (self.outliers())
                    (self.errors())
                    (self.findings())
                    (self.completeness())
                    (self.list())
                }
            }
        };
        page.into_string()
    }

    fn counts(&self) -> Markup {
        let counts = [
            (self.done, "with a report"),
            (self.refused, "refused"),
            (self.unfinished, "without a final record"),
            (self.holes as usize, if self.holes == 1 { "hole judged" } else { "holes judged" }),
        ];
        html! {
            ul .counts { @for (count, what) in counts { li { b { (count) } (what) } } }
            @if self.unfinished > 0 {
                p {
                    "Not complete; the same command again may finish what is missing: "
                    (names(&self.unfinished_named, self.unfinished)) "."
                }
            }
        }
    }

    fn refusals(&self) -> Markup {
        html! {
            @if !self.refusals.is_empty() {
                h2 { "Refusals" }
                p { "A refused scan or plan was not measured. Sentences and numbers are in table " code { "findings" } "." }
                (tallies(self.refusals.iter()))
            }
        }
    }

    fn findings(&self) -> Markup {
        html! {
            @if !self.findings.is_empty() {
                h2 { "Reservations" }
                p { "These results stand, with something to know about each." }
                (tallies(self.findings.iter()))
            }
        }
    }

    fn distributions(&self) -> Markup {
        html! {
            h2 { "Distributions by region" }
            p { "Bars count holes. The line is the median, dashed lines the 10th and 90th percentiles." }
            @for (at, measure) in MEASURES.iter().enumerate() {
                @let of = || self.regions.iter().map(|(name, r)| (name, &r.measures[at].0)).filter(|(_, h)| h.count() > 0);
                @let ranges: Vec<(f64, f64)> = of().filter_map(|(_, h)| h.range()).collect();
                @if let Some(range) = ranges.iter().copied().reduce(|a, b| (a.0.min(b.0), a.1.max(b.1))) {
                    h3 { (measure.title) ", " (measure.unit) }
                    div .plots {
                        @for (name, histogram) in of() {
                            @let middle = histogram.quantile(0.5).unwrap_or_default();
                            figure {
                                (distribution(histogram, range, &format!("{} in {name}", measure.title)))
                                figcaption {
                                    (name) ": " (histogram.count()) @if histogram.count() == 1 { " hole" } @else { " holes" }
                                    ", median " (measure.shown(middle))
                                    ", from " (measure.shown(histogram.least())) " to " (measure.shown(histogram.most()))
                                }
                            }
                        }
                    }
                }
            }
        }
    }

    fn grades(&self) -> Markup {
        html! {
            h2 { "Grade by region" }
            div .scroll { table {
                tr { th .t { "region" } @for grade in GRADES { th { (grade) } } th .t { "share, in the order of the columns" } }
                @for (name, region) in &self.regions {
                    @let total = region.grades.iter().sum::<u64>().max(1) as f64;
                    tr {
                        td .t { (name) }
                        @for count in region.grades { td { (count) } }
                        td { div .bars {
                            @for count in region.grades {
                                i style=(format!("width:{:.1}%", 100.0 * count as f64 / total)) {}
                            }
                        } }
                    }
                }
            } }
        }
    }

    fn outliers(&self) -> Markup {
        let mut lines = Vec::new();
        for (at, measure) in MEASURES.iter().enumerate() {
            for (name, region) in &self.regions {
                let (histogram, extremes) = &region.measures[at];
                let Some(fences) = histogram.fences() else { continue };
                lines.extend(extremes.outside(fences).map(|e| (measure, name, fences, e)));
            }
        }
        html! {
            h2 { "Outliers" }
            p { "Holes farther from the quartiles than three times the distance between them, at most eight at either end of a measure in a region. Look at them before using a mean." }
            @if lines.is_empty() { p { "None." } } @else {
                div .scroll { table {
                    tr { th .t { "measure" } th .t { "region" } th { "value" } th { "expected between" } th .t { "case" } th .t { "hole" } }
                    @for (measure, name, fences, extreme) in lines {
                        tr {
                            td .t { (measure.title) ", " (measure.unit) } td .t { (name) }
                            td { (measure.shown(extreme.value)) }
                            td { (measure.shown(fences.0)) " and " (measure.shown(fences.1)) }
                            td .t { (self.case_link(extreme.row)) } td .t { (extreme.hole) }
                        }
                    }
                } }
            }
        }
    }

    fn errors(&self) -> Markup {
        let Some(errors) = &self.errors else { return html! {} };
        let columns = varied(self.manifest);
        let drawn = DRAWN_ERRORS.iter().filter_map(|name| JUDGED.iter().position(|j| j.0 == *name));
        html! {
            h2 { "Errors against known answers" }
            p { "Measured less known, holes whose answers the manifest names." }
            div .scroll { table {
                tr { th .t { "quantity" } @for head in ["holes", "not measured", "mean", "sd", "5 %", "median", "95 %", "worst"] { th { (head) } } }
                @for (at, (name, _)) in JUDGED.iter().enumerate() {
                    @if let Some(a) = errors.accuracy(at) {
                        tr {
                            td .t { code { (name) } } td { (a.count) } td { (errors.unmeasured[at]) }
                            @for value in [a.mean, a.sd, a.p5, a.p50, a.p95, a.worst] { td { (shown(value)) } }
                        }
                    }
                }
            } }
            @if errors.left_out > 0 { p { "Without the last " (errors.left_out) " holes." } }
            @for at in drawn {
                @let pictures: Vec<(&str, Markup)> = columns.iter().filter_map(|own| {
                    let name = self.manifest.columns()[*own].as_str();
                    let label = format!("error of {} against {name}", JUDGED[at].0);
                    Some((name, scatter(&errors.against(self.manifest, *own, at), &label)?))
                }).collect();
                @if !pictures.is_empty() {
                    h3 { "Error of " code { (JUDGED[at].0) } }
                    div .plots {
                        @for (name, picture) in pictures { figure { (picture) figcaption { "against " code { (name) } "; the line joins medians" } } }
                    }
                }
            }
        }
    }

    fn completeness(&self) -> Markup {
        let holes = self.holes.max(1) as f64;
        html! {
            h2 { "Completeness" }
            p { "Share of the " (self.holes) " holes for which a column of table " code { "holes" } " has a value." }
            div .scroll { table {
                tr { th .t { "column" } th { "holes" } th { "share" } th {} th .t { "meaning" } }
                @for (column, present) in HOLES.iter().zip(&self.present) {
                    @let share = *present as f64 / holes;
                    tr {
                        td .t { code { (column.name) } } td { (present) }
                        td { (format!("{:.1} %", 100.0 * share)) }
                        td { meter min="0" max="1" value=(format!("{share:.3}")) {} }
                        td .w { (column.meaning.replace('`', "")) }
                    }
                }
            } }
        }
    }

    fn list(&self) -> Markup {
        html! {
            h2 { "Cases" }
            @if self.manifest.rows().len() > INDEXED {
                p { "The first " (INDEXED) "; all are in table " code { "cases" } "." }
            }
            noscript { p { "Without scripts, see table " code { "cases" } "." } }
            div .tools {
                label { "Find " input #find type="search" placeholder="part of an id"; }
                label { "Outcome " select #pick {
                    option value="" { "all" }
                    @for (at, word) in ["done", "scan refused", "plan refused", "unfinished"].iter().enumerate() {
                        option value=(at) { (word) }
                    }
                } }
                button #prev type="button" { "Back" } button #next type="button" { "On" }
                span #list-say role="status" {}
            }
            div .scroll { table #list {
                thead { tr {
                    th { "row" } th .t { "case" } th .t { "outcome" }
                    @for grade in GRADES { th { (grade) } }
                    th { "reservations" }
                } }
                tbody #list-body {}
            } }
            script #cases type="application/json" { (PreEscaped(self.index_json())) }
            "\n"
            script { (PreEscaped(SCRIPT)) }
        }
    }

    /// Rows of the list; ids are of a set of characters that needs no escape.
    fn index_json(&self) -> String {
        let rows: Vec<String> = self
            .index
            .iter()
            .enumerate()
            .map(|(position, case)| {
                let outcome = match case.outcome {
                    Some(Outcome::Done) => 0,
                    Some(Outcome::ScanRefused) => 1,
                    Some(Outcome::PlanRefused) => 2,
                    None => 3,
                };
                let folder = case_folder(&case.case);
                let grades = case.grades.map(|count| count.to_string()).join(",");
                format!(
                    "[{},\"{}\",{outcome},\"{}\",\"{}\",{grades},{}]",
                    position + 1,
                    case.case,
                    &folder[..2],
                    file_of(case),
                    case.findings
                )
            })
            .collect();
        format!("[{}]", rows.join(",\n"))
    }

    fn case_link(&self, row: usize) -> Markup {
        let Some(row) = self.manifest.rows().get(row - 1) else { return html! {} };
        let file = self.index.get(row.number - 1).map_or("report.json", file_of);
        let href = format!("../cases/{}/{file}", case_folder(&row.case));
        html! { a href=(href) { (row.case) } }
    }
}

fn cases(count: usize) -> String {
    if count == 1 { "1 case".to_owned() } else { format!("{count} cases") }
}

/// What to open of a case.
fn file_of(case: &Indexed) -> &'static str {
    match (case.outcome, case.has_page) {
        (Some(Outcome::Done), true) => "report.html",
        (Some(Outcome::Done), false) => "report.json",
        _ => "case.json",
    }
}

fn tallies<'a>(tallies: impl Iterator<Item = (&'a String, &'a Tally)>) -> Markup {
    html! {
        div .scroll { table {
            tr { th .t { "code" } th { "cases" } th { "times" } th .t { "for example" } }
            @for (code, tally) in tallies {
                tr {
                    td .t { code { (code) } } td { (tally.cases) } td { (tally.times) }
                    td .w { (names(&tally.examples, tally.cases)) }
                }
            }
        } }
    }
}

/// Ids, and how many more there are.
fn names(named: &[(usize, String)], all: usize) -> String {
    let ids: Vec<&str> = named.iter().map(|(_, case)| case.as_str()).collect();
    match all - named.len() {
        0 => ids.join(", "),
        more => format!("{} and {more} more", ids.join(", ")),
    }
}
