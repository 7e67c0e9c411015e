//! The plan file's JSON Schema, and the check of a file's shape against it.
//!
//! The walker knows the part of draft 2020-12 that the schema uses, reports
//! every problem instead of the first, and adds lines and nearest words.

use serde_json::Value;

use crate::nearest::nearest_word;
use crate::problem::PlanProblem;
use crate::tree::{Field, Kind, Node};
use crate::wire::WirePlan;

/// Problems after which the walk stops; a file of garbage has thousands.
const ENOUGH: usize = 200;

/// The JSON Schema of a plan file, draft 2020-12, as indented JSON.
pub fn json_schema() -> String {
    format!("{:#}", schema().as_value())
}

fn schema() -> schemars::Schema {
    schemars::schema_for!(WirePlan)
}

/// Everything about a file's shape that is wrong: unknown and missing fields,
/// wrong kinds, unknown words, numbers out of range.
pub(crate) fn shape_problems(root: &Node) -> Vec<PlanProblem> {
    let schema = schema();
    let mut walker = Walker { schema: schema.as_value(), problems: Vec::new() };
    walker.walk(schema.as_value(), root, "the plan");
    walker.problems
}

/// The shape of a plan, to ask of parts of it whether they fit.
pub(crate) struct Shape(schemars::Schema);

impl Shape {
    pub(crate) fn new() -> Self {
        Self(schema())
    }

    /// Whether nothing is wrong with a whole plan's shape.
    pub(crate) fn fits_plan(&self, root: &Node) -> bool {
        self.holds(self.0.as_value(), root)
    }

    /// Whether a field of a plan is known and well shaped.
    pub(crate) fn fits(&self, field: &Field) -> bool {
        let part = &self.0.as_value()["properties"][&field.name];
        !part.is_null() && self.holds(part, &field.value)
    }

    /// Whether an entry of one of a plan's lists is well shaped.
    pub(crate) fn fits_entry(&self, list: &str, entry: &Node) -> bool {
        self.holds(self.entry(list), entry)
    }

    /// Whether a field of a hole is known and well shaped.
    pub(crate) fn fits_hole(&self, field: &Field) -> bool {
        let part = &self.walker().resolve(self.entry("hole"))["properties"][&field.name];
        !part.is_null() && self.holds(part, &field.value)
    }

    fn entry(&self, list: &str) -> &Value {
        let part = &self.0.as_value()["properties"][list];
        &self.walker().resolve(part)["items"]
    }

    fn walker(&self) -> Walker<'_> {
        Walker { schema: self.0.as_value(), problems: Vec::new() }
    }

    fn holds(&self, part: &Value, node: &Node) -> bool {
        let mut walker = Walker { schema: self.0.as_value(), problems: Vec::new() };
        walker.walk(part, node, "");
        walker.problems.is_empty()
    }
}

/// Foreign text made harmless for a message: control characters escaped, cut
/// after 48 characters.
pub(crate) fn shown(text: &str) -> String {
    let mut out: String = text.chars().take(48).flat_map(char::escape_debug).collect();
    if text.chars().nth(48).is_some() {
        out.push('…');
    }
    out
}

struct Walker<'a> {
    schema: &'a Value,
    problems: Vec<PlanProblem>,
}

impl<'a> Walker<'a> {
    /// The schema that a reference or an optional part stands for.
    fn resolve(&self, part: &'a Value) -> &'a Value {
        let reference = part["$ref"].as_str().or_else(|| part["anyOf"][0]["$ref"].as_str());
        let Some(target) = reference else { return part };
        self.schema.pointer(target.trim_start_matches('#')).unwrap_or(part)
    }

    /// - `name`: what the value is called in messages.
    fn walk(&mut self, part: &'a Value, node: &Node, name: &str) {
        if self.problems.len() >= ENOUGH {
            return;
        }
        let optional = part["anyOf"].is_array() || part["type"].is_array();
        let part = self.resolve(part);
        let expected = part["type"].as_str().or_else(|| part["type"][0].as_str()).unwrap_or("");
        match (expected, &node.kind) {
            (_, Kind::Nothing) if optional => {}
            ("object", Kind::Table(fields)) => self.table(part, node, fields, name),
            ("array", Kind::List(items)) => self.list(part, node, items, name),
            ("number", Kind::Number(number)) => self.number(part, node, *number, name),
            ("string", Kind::Text(text)) => self.text(part, node, text, name),
            ("boolean", Kind::Flag(_)) => {}
            _ => {
                let text = format!("`{name}` is {}, expected {}", node.kind_word(), word(expected));
                self.problems.push(PlanProblem::new("plan.field", node.line, text));
            }
        }
    }

    fn table(&mut self, part: &'a Value, node: &Node, fields: &[Field], name: &str) {
        let Some(known) = part["properties"].as_object() else { return };
        for field in fields {
            if self.problems.len() >= ENOUGH {
                return;
            }
            if let Some((key, part)) =
                part["properties"].as_object().and_then(|k| k.get_key_value(&field.name))
            {
                self.walk(part, &field.value, key);
                continue;
            }
            let text = format!("`{}` is not a field of {name}", shown(&field.name));
            let nearest = nearest_word(&field.name, known.keys().map(String::as_str));
            let mut problem = PlanProblem::new("plan.field", field.line, text).nearest(nearest);
            if nearest.is_none() {
                let words: Vec<&str> = known.keys().map(String::as_str).collect();
                problem = problem.next(format!("{name} may hold {}", words.join(", ")));
            }
            self.problems.push(problem);
        }
        for required in part["required"].as_array().into_iter().flatten() {
            let required = required.as_str().unwrap_or("");
            if node.get(required).is_none() {
                let text = format!("`{required}` is missing from {name}");
                self.problems.push(PlanProblem::new("plan.field", node.line, text));
            }
        }
    }

    fn list(&mut self, part: &'a Value, node: &Node, items: &[Node], name: &str) {
        let count = items.len() as f64;
        let least = part["minItems"].as_f64().unwrap_or(0.0);
        let most = part["maxItems"].as_f64().unwrap_or(f64::INFINITY);
        if count < least || count > most {
            let limit = if count < least { least } else { most };
            let code = if least < most { "plan.range" } else { "plan.field" };
            let rule = match (least < most, count < least) {
                (false, _) => "expected",
                (true, true) => "at least",
                (true, false) => "at most",
            };
            let text = format!("`{name}` has {count} entries, {rule} {limit}");
            let problem = PlanProblem::new(code, node.line, text);
            self.problems.push(problem.measured(count, limit, None));
            return;
        }
        for item in items {
            self.walk(&part["items"], item, name);
        }
    }

    fn number(&mut self, part: &Value, node: &Node, number: f64, name: &str) {
        let unit = unit_of(name);
        let least = part["minimum"].as_f64().unwrap_or(f64::NEG_INFINITY);
        let most = part["maximum"].as_f64().unwrap_or(f64::INFINITY);
        if !number.is_finite() {
            let text = format!("`{name}` is not a finite number");
            self.problems.push(PlanProblem::new("plan.range", node.line, text));
            return;
        }
        if (least..=most).contains(&number) {
            return;
        }
        let (limit, rule) = if number < least { (least, "at least") } else { (most, "at most") };
        let unit_word = unit.map(|u| format!(" {u}")).unwrap_or_default();
        let text = format!("`{name}` is {number}{unit_word}, {rule} {limit}{unit_word} is allowed");
        let problem = PlanProblem::new("plan.range", node.line, text);
        self.problems.push(problem.measured(number, limit, unit));
    }

    fn text(&mut self, part: &Value, node: &Node, text: &str, name: &str) {
        if let Some(words) = part["enum"].as_array() {
            let words: Vec<&str> = words.iter().filter_map(Value::as_str).collect();
            if !words.contains(&text) {
                let code = if name == "side" { "plan.side" } else { "plan.field" };
                let said =
                    format!("`{name}` is `{}`, expected {}", shown(text), words.join(" or "));
                let problem = PlanProblem::new(code, node.line, said);
                self.problems.push(problem.nearest(nearest_word(text, words)));
            }
            return;
        }
        let count = text.chars().count() as f64;
        let most = part["maxLength"].as_f64().unwrap_or(f64::INFINITY);
        let refused = if count < part["minLength"].as_f64().unwrap_or(0.0) {
            Some((format!("`{name}` is empty"), 1.0))
        } else if count > most {
            Some((format!("`{name}` has {count} characters, at most {most}"), most))
        } else {
            None
        };
        if let Some((said, limit)) = refused {
            let problem = PlanProblem::new("plan.range", node.line, said);
            self.problems.push(problem.measured(count, limit, Some("characters")));
        } else if let Some(bad) = text.chars().find(|c| c.is_control()) {
            let said = format!("`{name}` holds the control character U+{:04X}", u32::from(bad));
            self.problems.push(PlanProblem::new("plan.range", node.line, said));
        }
    }
}

/// A kind of JSON Schema in words.
fn word(kind: &str) -> &'static str {
    match kind {
        "object" => "a table",
        "array" => "a list",
        "number" => "a number",
        "string" => "text",
        "boolean" => "true or false",
        _ => "something else",
    }
}

/// The unit that a field's name ends with.
pub(crate) fn unit_of(name: &str) -> Option<&'static str> {
    let (_, ending) = name.rsplit_once('_')?;
    match ending {
        "mm" => Some("mm"),
        "deg" => Some("degrees"),
        "kg" => Some("kg"),
        "hu" => Some("HU"),
        "cm3" => Some("mg/cm³"),
        _ => None,
    }
}
