//! A report with made-up numbers that depend on a seed alone.

use serde_json::{Map, Value, json};
use sha2::{Digest as _, Sha256};

/// SHA-256 in hexadecimal digits.
pub(crate) fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    Sha256::digest(bytes).iter().fold(String::new(), |mut text, byte| {
        // Writing to a string cannot fail.
        let _written = write!(text, "{byte:02x}");
        text
    })
}

/// Numbers without an end, the same for the same seed.
struct Numbers {
    seed: String,
    drawn: u64,
}

impl Numbers {
    /// Between 0 and 1, with all the digits of a double.
    fn next(&mut self) -> f64 {
        self.drawn += 1;
        let digest = Sha256::digest(format!("{}/{}", self.seed, self.drawn).as_bytes());
        let bytes: [u8; 8] = digest[..8].try_into().unwrap_or_default();
        (u64::from_le_bytes(bytes) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }
}

/// `report.json` of a case.
pub(crate) fn report(seed: &str, holes: usize) -> Value {
    let mut numbers = Numbers { seed: hex(seed.as_bytes()), drawn: 0 };
    let made: Vec<Value> = (0..holes).map(|at| hole(&mut numbers, at)).collect();
    let order: Vec<Value> = made
        .iter()
        .rev()
        .enumerate()
        .map(|(at, h)| json!({"step": at + 1, "hole": h["id"], "guide": "A", "reason": "given"}))
        .collect();
    let finding = |h: &Value| {
        json!({"code": "path.no_cortex", "hole": h["id"], "other": null,
            "text": "No cortex shows; the threshold was used, \"226 HU\".",
            "measured": h["near_cortex_mm"], "limit": null, "unit": "mm"})
    };
    let findings: Vec<Value> = made.iter().step_by(3).map(finding).collect();
    json!({
        "schema": "pilothole/report/1",
        "tool": {"name": "pilothole", "version": "0.1.0"},
        "caution": "Made-up numbers.",
        "scan": {"digest": hex(seed.as_bytes()), "size": [64, 64, 40],
            "voxel_mm": [0.7, 0.7, numbers.between(0.5, 2.0)], "kvp": 120.0, "kernel": "soft"},
        "bone": {"threshold_hu": 226.0, "metal_mm3": null, "untrusted_share": 0.0},
        "calibration": null,
        "holes": made,
        "set": {"clash": []},
        "order": order,
        "findings": findings,
    })
}

fn hole(numbers: &mut Numbers, at: usize) -> Value {
    let near = numbers.between(0.0, 3.0);
    let depth = numbers.between(8.0, 70.0);
    let mean = numbers.between(20.0, 600.0);
    let has_length = at % 4 != 3;
    let purchase = if has_length { depth * 0.8 } else { 0.0 };
    let grade = match (has_length, purchase >= 25.0, purchase >= 15.0) {
        (false, ..) => "none",
        (_, true, _) => "good",
        (_, _, true) => "fair",
        _ => "poor",
    };
    let side_wall = numbers.between(-2.0, 6.0);
    let mut statistics = || {
        let names = ["sd", "min", "p10", "p50", "p90", "max"];
        let mut values = Map::new();
        values.insert("mean".to_owned(), json!(mean));
        for name in names {
            values.insert(name.to_owned(), json!(numbers.between(-100.0, 1500.0)));
        }
        values.insert("samples".to_owned(), json!(1000 + at));
        values
    };
    let hu = has_length
        .then(|| json!({"core": statistics(), "thread": statistics(), "axis": statistics()}));
    let id =
        ["a", "b", "c", "d, e", "f\"g", "h"].get(at).map_or(at.to_string(), ToString::to_string);
    let region = [Some("ilium"), Some("ischium"), None][at % 3];
    json!({
        "id": id,
        "zone": if at.is_multiple_of(2) { "cup" } else { "flange" },
        "region": region,
        "screw": "HB 6.5",
        "major_diameter_mm": 6.5, "core_diameter_mm": 4.5, "planned_length_mm": null,
        "seat_mm": [95.1, 20.3, -5.2], "direction": [0.1, 0.35, 0.93], "swivel_deg": null,
        "bone": 1,
        "near_cortex_mm": near, "far_cortex_mm": near + depth,
        "near": {"at_mm": near, "rule": "halfway", "se_mm": 1e-7, "cortex_mm": 5e-324},
        "far": null,
        "bone_depth_mm": depth,
        "length_mm": if has_length { json!(40.0) } else { Value::Null },
        "purchase_mm": purchase, "planned_purchase_mm": null, "engaged_mm": purchase / 3.0,
        "hu": hu, "density_mg_cm3": null, "segments": [],
        "cortices": 1, "side_wall_mm": side_wall, "side_wall_at_mm": -0.0,
        "beyond": {"bone_mm": null, "metal_mm": null, "skin_mm": 1e16, "scan_end_mm": 0.1},
        "pullout_n": {"estimate": 812.0, "low": 300.0, "high": 1500.0},
        "robust": null,
        "purchase": grade, "reasons": ["grade.dense", "grade.short_purchase"], "trust": 1.0,
    })
}
