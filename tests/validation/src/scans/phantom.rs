//! The density phantom: plastics of known HU, no bone.

use std::fmt::Write;
use std::path::Path;

use pilothole_study::{Limits, open};
use pilothole_volume::{PatientPoint, Volume};

use super::reading;
use crate::row::{summary, two};

/// Half the edge of the cube that is averaged in an insert, mm.
const HALF_MM: f64 = 3.0;

/// Name, centre, nominal HU, HU as its record has it.
struct Insert {
    name: String,
    centre: PatientPoint,
    nominal_hu: Option<f64>,
    recorded_hu: f64,
}

fn inserts(scans: &Path) -> Vec<Insert> {
    let path = scans.join("density_phantom_cbct/inserts.json");
    let text = std::fs::read_to_string(path).expect("the record of inserts is there");
    let value: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let entries = value["inserts"].as_array().cloned().unwrap_or_default();
    entries
        .iter()
        .map(|entry| {
            let at = |n: usize| entry["centre_lps_mm"][n].as_f64().expect("a number");
            Insert {
                name: entry["material"].as_str().unwrap_or("insert").to_owned(),
                centre: PatientPoint([at(0), at(1), at(2)]),
                nominal_hu: entry["nominal_hu"].as_f64(),
                recorded_hu: entry["measured_mean"].as_f64().expect("a number"),
            }
        })
        .collect()
}

/// Mean of a cube of samples about a point, HU.
fn mean_hu(volume: &Volume, centre: PatientPoint) -> f64 {
    const STEPS: u32 = 7;
    let mut sum = 0.0;
    for i in 0..STEPS.pow(3) {
        let index = [i % STEPS, i / STEPS % STEPS, i / STEPS.pow(2)];
        let at: [f64; 3] = std::array::from_fn(|n| {
            centre.0[n] + HALF_MM * (2.0 * f64::from(index[n]) / f64::from(STEPS - 1) - 1.0)
        });
        sum += volume.sample_or_nan(PatientPoint(at));
    }
    sum / f64::from(STEPS.pow(3))
}

pub(super) fn page(scans: &Path) -> String {
    let series = scans.join("density_phantom_cbct/series.zip");
    let mut text = format!(
        "# The density phantom\n\n\
         A cylinder with seven plastics and air, cone-beam CT at 100 kV; no bone, no hip.\n\n\
         ## What was read\n\n{}\n## Inserts\n\n\
         Means of a cube of 6 mm, beside what the phantom's record says.\n\n\
         | insert | nominal HU | recorded HU | found HU |\n|---|---|---|---|\n",
        reading::table(&series)
    );
    let limits = Limits::default();
    let volume = open(&series, &limits)
        .and_then(|scan| scan.read(None, &limits))
        .unwrap_or_else(|refusal| panic!("{refusal:?}"))
        .volume;
    let (mut nominal, mut recorded) = (Vec::new(), Vec::new());
    for insert in inserts(scans) {
        let found = mean_hu(&volume, insert.centre);
        let shown = insert.nominal_hu.map_or_else(|| "none".to_owned(), |hu| format!("{hu:.0}"));
        // A string takes any text.
        let _written = writeln!(
            text,
            "| {} | {shown} | {:.0} | {found:.1} |",
            insert.name, insert.recorded_hu
        );
        recorded.push(found - insert.recorded_hu);
        nominal.extend(insert.nominal_hu.map(|hu| found - hu));
    }
    let against = |errors: &[f64]| {
        let (bias, rms, worst) = summary(errors);
        format!("bias {} HU, RMS {} HU, worst {} HU", two(bias), two(rms), two(worst))
    };
    let _written = write!(
        text,
        "\nAgainst the record: {}. Against the nominal values: {}.\n\n\
         ## Remarks\n\n\
         - Plastics are not bone: the table shows that HU are read at the right places of an oblique stack, not that density is right.\n\
         - Cone-beam HU drift with the place in the field; no pelvic scan should be calibrated by this one.\n",
        against(&recorded),
        against(&nominal)
    );
    text
}
