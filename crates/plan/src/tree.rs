//! A plan file as a tree in which every field knows its line.
//!
//! TOML and JSON become the same tree, so that everything after it is written
//! once. Numbers may still be infinite or not-a-number here.

use std::cell::Cell;
use std::fmt;
use std::io::Read;

use serde::de::{DeserializeSeed, Deserializer, MapAccess, SeqAccess, Visitor};
use toml::de::{DeTable, DeValue};

use crate::model::Plan;
use crate::problem::{Format, PlanProblem, PlanRefusal};

/// A value of the file and the line it begins on, counted from 1.
#[derive(Clone, Debug)]
pub(crate) struct Node {
    pub(crate) line: usize,
    pub(crate) kind: Kind,
}

#[derive(Clone, Debug)]
pub(crate) enum Kind {
    Nothing,
    Flag(bool),
    Number(f64),
    Text(String),
    List(Vec<Node>),
    Table(Vec<Field>),
    /// A date or time, which no field of a plan is.
    Date,
}

#[derive(Clone, Debug)]
pub(crate) struct Field {
    pub(crate) name: String,
    pub(crate) line: usize,
    pub(crate) value: Node,
}

impl Node {
    /// Read a file's text; syntax is all that can be wrong yet.
    pub(crate) fn parse(text: &str, format: Format) -> Result<Self, PlanRefusal> {
        if text.len() > Plan::MAX_BYTES {
            let (measured, limit) = (text.len() as f64, Plan::MAX_BYTES as f64);
            let problem = PlanProblem::new("plan.range", 0, "the plan file is too large").measured(
                measured,
                limit,
                Some("bytes"),
            );
            return Err(PlanRefusal::new(vec![problem]));
        }
        match format {
            Format::Toml => from_toml(text),
            Format::Json => from_json(text),
        }
    }

    /// The field of a table; `None` for other values.
    pub(crate) fn get(&self, name: &str) -> Option<&Field> {
        match &self.kind {
            Kind::Table(fields) => fields.iter().find(|f| f.name == name),
            _ => None,
        }
    }

    /// The line of a table's field, or the table's own.
    pub(crate) fn line_of(&self, name: &str) -> usize {
        self.get(name).map_or(self.line, |f| f.line)
    }

    /// The entry of a table's list, or the node itself.
    pub(crate) fn entry(&self, list: &str, index: usize) -> &Self {
        match self.get(list).map(|f| &f.value.kind) {
            Some(Kind::List(items)) => items.get(index).unwrap_or(self),
            _ => self,
        }
    }

    /// What it is, in words.
    pub(crate) fn kind_word(&self) -> &'static str {
        match self.kind {
            Kind::Nothing => "nothing",
            Kind::Flag(_) => "true or false",
            Kind::Number(_) => "a number",
            Kind::Text(_) => "text",
            Kind::List(_) => "a list",
            Kind::Table(_) => "a table",
            Kind::Date => "a date",
        }
    }

    /// The same without lines.
    pub(crate) fn to_value(&self) -> serde_json::Value {
        use serde_json::Value;
        match &self.kind {
            Kind::Nothing | Kind::Date => Value::Null,
            Kind::Flag(flag) => Value::Bool(*flag),
            Kind::Number(number) => Value::from(*number),
            Kind::Text(text) => Value::from(text.as_str()),
            Kind::List(items) => Value::Array(items.iter().map(Self::to_value).collect()),
            Kind::Table(fields) => {
                Value::Object(fields.iter().map(|f| (f.name.clone(), f.value.to_value())).collect())
            }
        }
    }
}

fn from_toml(text: &str) -> Result<Node, PlanRefusal> {
    let lines = Lines::of(text);
    let (table, errors) = DeTable::parse_recoverable(text);
    if !errors.is_empty() {
        let problem = |e: &toml::de::Error| {
            let line = e.span().map_or(0, |span| lines.at(span.start));
            PlanProblem::new("plan.syntax", line, one_line(e.message()))
        };
        return Err(PlanRefusal::new(errors.iter().map(problem).collect()));
    }
    Ok(Node { line: 1, kind: table_from_toml(table.get_ref(), &lines) })
}

fn table_from_toml(table: &DeTable<'_>, lines: &Lines) -> Kind {
    let field = |(key, value): (&toml::Spanned<_>, &toml::Spanned<DeValue<'_>>)| {
        let line = lines.at(key.span().start);
        let name: &std::borrow::Cow<'_, str> = key.get_ref();
        Field { name: name.clone().into_owned(), line, value: node_from_toml(value, lines) }
    };
    Kind::Table(table.iter().map(field).collect())
}

fn node_from_toml(value: &toml::Spanned<DeValue<'_>>, lines: &Lines) -> Node {
    let kind = match value.get_ref() {
        DeValue::String(text) => Kind::Text(text.clone().into_owned()),
        DeValue::Integer(integer) => Kind::Number(match integer.radix() {
            10 => decimal(integer.as_str()),
            radix => {
                i64::from_str_radix(integer.as_str(), radix).map_or(f64::NAN, |whole| whole as f64)
            }
        }),
        DeValue::Float(float) => Kind::Number(decimal(float.as_str())),
        DeValue::Boolean(flag) => Kind::Flag(*flag),
        DeValue::Datetime(_) => Kind::Date,
        DeValue::Array(items) => {
            Kind::List(items.iter().map(|item| node_from_toml(item, lines)).collect())
        }
        DeValue::Table(table) => table_from_toml(table, lines),
    };
    Node { line: lines.at(value.span().start), kind }
}

/// A number as the file writes it; not-a-number when it is none.
fn decimal(text: &str) -> f64 {
    text.replace('_', "").parse().unwrap_or(f64::NAN)
}

fn one_line(message: &str) -> String {
    message.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Where lines begin.
struct Lines(Vec<usize>);

impl Lines {
    fn of(text: &str) -> Self {
        let breaks = text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n');
        Self(std::iter::once(0).chain(breaks.map(|(at, _)| at + 1)).collect())
    }

    fn at(&self, byte: usize) -> usize {
        self.0.partition_point(|start| *start <= byte)
    }
}

fn from_json(text: &str) -> Result<Node, PlanRefusal> {
    let line = Cell::new(1);
    let repeated = Cell::new(None);
    let refuse =
        |code, line, text: String| PlanRefusal::new(vec![PlanProblem::new(code, line, text)]);
    let mut file =
        serde_json::Deserializer::from_reader(Counting { rest: text.as_bytes(), line: &line });
    let place = Place { line: &line, repeated: &repeated };
    let node = place
        .deserialize(&mut file)
        .and_then(|node| file.end().map(|()| node))
        .map_err(|e| refuse("plan.syntax", e.line(), without_place(&e.to_string())))?;
    match (repeated.get(), &node.kind) {
        (Some(line), _) => {
            Err(refuse("plan.syntax", line, "a field of this name was there before".to_owned()))
        }
        (None, Kind::Table(_)) => Ok(node),
        (None, _) => {
            Err(refuse("plan.syntax", 1, format!("the file is {}, not a table", node.kind_word())))
        }
    }
}

/// A message of `serde_json` without its "at line 1 column 2".
fn without_place(message: &str) -> String {
    message.split(" at line ").next().unwrap_or(message).to_owned()
}

/// Bytes that count the line they are on; read one at a time.
struct Counting<'a> {
    rest: &'a [u8],
    line: &'a Cell<usize>,
}

impl Read for Counting<'_> {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        let (Some((first, rest)), Some(slot)) = (self.rest.split_first(), into.first_mut()) else {
            return Ok(0);
        };
        *slot = *first;
        self.rest = rest;
        if *first == b'\n' {
            self.line.set(self.line.get() + 1);
        }
        Ok(1)
    }
}

/// Where the reader stands; makes a [`Node`] of what comes.
#[derive(Clone, Copy)]
struct Place<'a> {
    line: &'a Cell<usize>,
    /// Line of the first field that was named twice in its table.
    repeated: &'a Cell<Option<usize>>,
}

impl Place<'_> {
    fn node(self, kind: Kind) -> Node {
        Node { line: self.line.get(), kind }
    }
}

impl<'de> DeserializeSeed<'de> for Place<'_> {
    type Value = Node;
    fn deserialize<D: Deserializer<'de>>(self, from: D) -> Result<Node, D::Error> {
        from.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Place<'_> {
    type Value = Node;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a plan")
    }
    fn visit_unit<E>(self) -> Result<Node, E> {
        Ok(self.node(Kind::Nothing))
    }
    fn visit_bool<E>(self, flag: bool) -> Result<Node, E> {
        Ok(self.node(Kind::Flag(flag)))
    }
    fn visit_i64<E>(self, whole: i64) -> Result<Node, E> {
        Ok(self.node(Kind::Number(whole as f64)))
    }
    fn visit_u64<E>(self, whole: u64) -> Result<Node, E> {
        Ok(self.node(Kind::Number(whole as f64)))
    }
    fn visit_f64<E>(self, number: f64) -> Result<Node, E> {
        Ok(self.node(Kind::Number(number)))
    }
    fn visit_str<E>(self, text: &str) -> Result<Node, E> {
        Ok(self.node(Kind::Text(text.to_owned())))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Node, A::Error> {
        let line = self.line.get();
        let mut items = Vec::new();
        while let Some(item) = list.next_element_seed(self)? {
            items.push(item);
        }
        Ok(Node { line, kind: Kind::List(items) })
    }

    fn visit_map<A: MapAccess<'de>>(self, mut table: A) -> Result<Node, A::Error> {
        let line = self.line.get();
        let mut names = std::collections::BTreeSet::new();
        let mut fields: Vec<Field> = Vec::new();
        while let Some(name) = table.next_key::<String>()? {
            let line = self.line.get();
            if !names.insert(name.clone()) && self.repeated.get().is_none() {
                self.repeated.set(Some(line));
            }
            let mut value = table.next_value_seed(self)?;
            if !matches!(value.kind, Kind::List(_) | Kind::Table(_)) {
                value.line = line;
            }
            fields.push(Field { name, line, value });
        }
        Ok(Node { line, kind: Kind::Table(fields) })
    }
}
