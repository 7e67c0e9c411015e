//! Reservations, with holes by their ids.

use pilothole_assess::Finding;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::ids::Ids;
use crate::number::kept;

/// A reservation: the result stands, and this must be known about it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FindingRecord {
    /// Stable code.
    pub code: String,
    /// Id of the hole, where it is about one.
    pub hole: Option<String>,
    /// Id of a second hole, where it is about a pair.
    pub other: Option<String>,
    /// One sentence.
    pub text: String,
    /// What was measured, in `unit`.
    pub measured: Option<f64>,
    /// What it was held against, in `unit`.
    pub limit: Option<f64>,
    /// Unit of both.
    pub unit: Option<String>,
}

impl FindingRecord {
    /// The wire form.
    pub(crate) fn of(finding: &Finding, ids: &Ids) -> Self {
        let id = |hole: Option<usize>| hole.map(|h| ids.of(h));
        Self {
            code: finding.code.to_owned(),
            hole: id(finding.hole),
            other: id(finding.other),
            text: finding.text.clone(),
            measured: finding.measured.and_then(|v| kept(v, 4)),
            limit: finding.limit.and_then(|v| kept(v, 4)),
            unit: finding.unit.map(str::to_owned),
        }
    }

    /// A finding of the report itself, about the whole case.
    pub(crate) fn own(code: &str, text: impl Into<String>) -> Self {
        Self {
            code: code.to_owned(),
            hole: None,
            other: None,
            text: text.into(),
            measured: None,
            limit: None,
            unit: None,
        }
    }

    /// Whether the plan has to change, or at least be looked at again, because
    /// of it; the others say how well the numbers are known.
    pub fn changes_plan(&self) -> bool {
        let (area, what) = self.code.split_once('.').unwrap_or((&self.code, ""));
        if KNOWLEDGE.contains(&self.code.as_str()) || what.starts_with("not_") && area != "set" {
            return false;
        }
        matches!(
            area,
            "path"
                | "length"
                | "side"
                | "clash"
                | "access"
                | "order"
                | "load"
                | "set"
                | "guides"
                | "reconstruction"
                | "metal"
                | "robust"
                | "kit"
        )
    }
}

/// Codes of areas that change plans which yet only say how well something is
/// known.
const KNOWLEDGE: [&str; 19] = [
    "path.no_cortex",
    "path.halfway",
    "path.one_plate",
    "path.seat_in_bone",
    "path.crosses_joint",
    "clash.near",
    "access.no_component",
    "access.no_approach",
    "access.unseen",
    "load.frame_assumed",
    "load.mass_assumed",
    "load.no_contact",
    "load.pullout_unknown",
    "reconstruction.landmarks",
    "metal.present",
    "kit.spares_unknown",
    "kit.no_length",
    "set.not_computed",
    "guides.not_proven",
];
