//! What was typed.

use std::path::PathBuf;

use clap::{Args as ClapArgs, Parser, Subcommand};

/// Bone behind every screw hole of an acetabular component, measured on CT.
///
/// Decision support for research and planning, not a medical device. A
/// licensed surgeon decides; local codes prevail.
#[derive(Debug, Parser)]
#[command(name = "pilothole", version, arg_required_else_help = true)]
pub(crate) struct Args {
    #[command(subcommand)]
    pub(crate) command: Command,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Make the built-in phantom hip and its plan, and assess them
    Demo(Demo),
    /// List the series of a scan: which is usable for what, and why not
    Inspect(Inspect),
    /// Bones of a scan: envelope, one surface a bone, volumes
    Bone(Bone),
    /// The main job: a per-hole purchase quality report
    Assess(Assess),
    /// The threads in use, with their sources
    Screws,
    /// A JSON Schema of a file
    Schema(Schema),
}

/// Flags shared by the commands that measure.
#[derive(Clone, Debug, ClapArgs)]
pub(crate) struct Measure {
    /// Ordinal of the series, as `inspect` prints it
    #[arg(long, value_name = "N")]
    pub(crate) series: Option<usize>,
    /// Bone threshold, HU
    #[arg(long, value_name = "HU")]
    pub(crate) threshold_hu: Option<f64>,
    /// HU to density: mg HA/cm³ per HU, and mg HA/cm³ at 0 HU
    #[arg(long, value_name = "SLOPE,INTERCEPT", allow_hyphen_values = true, value_parser = pair)]
    pub(crate) calibration: Option<[f64; 2]>,
    /// Placements tried a hole
    #[arg(long, value_name = "N")]
    pub(crate) samples: Option<usize>,
    /// Seed of every random draw
    #[arg(long, value_name = "N")]
    pub(crate) seed: Option<u64>,
    /// Threads to work on; all cores unless said
    #[arg(long, value_name = "N")]
    pub(crate) threads: Option<usize>,
    /// Write no time into the results, so that they are the same every time
    #[arg(long)]
    pub(crate) timeless: bool,
    /// Print the result as JSON on stdout
    #[arg(long)]
    pub(crate) json: bool,
}

/// Where results go.
#[derive(Clone, Debug, ClapArgs)]
pub(crate) struct Out {
    /// Folder for the results
    #[arg(long, value_name = "DIR")]
    pub(crate) out: PathBuf,
    /// Let go of whatever the folder holds
    #[arg(long)]
    pub(crate) replace: bool,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Demo {
    /// Folder for scan, plan and report
    #[arg(long, value_name = "DIR", default_value = "pilothole-demo")]
    pub(crate) out: PathBuf,
    #[command(flatten)]
    pub(crate) measure: Measure,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Inspect {
    /// Folder, DICOM file, .zip, .tar, .tar.gz or NIfTI file
    pub(crate) scan: PathBuf,
    /// Print as JSON
    #[arg(long)]
    pub(crate) json: bool,
    /// List elements that could identify the patient, by keyword, and what the
    /// standard asks for
    #[arg(long)]
    pub(crate) identity: bool,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Bone {
    /// Folder, DICOM file, .zip, .tar, .tar.gz or NIfTI file
    pub(crate) scan: PathBuf,
    /// A plan: its landmarks name the bones
    #[arg(long, value_name = "PLAN")]
    pub(crate) plan: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) out: Out,
    #[command(flatten)]
    pub(crate) measure: Measure,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Assess {
    /// Folder, DICOM file, .zip, .tar, .tar.gz or NIfTI file
    pub(crate) scan: PathBuf,
    /// Plan file, TOML or JSON
    pub(crate) plan: PathBuf,
    #[command(flatten)]
    pub(crate) out: Out,
    #[command(flatten)]
    pub(crate) measure: Measure,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Schema {
    /// Which file
    #[arg(value_enum)]
    pub(crate) of: SchemaOf,
}

#[derive(Clone, Copy, Debug, clap::ValueEnum)]
pub(crate) enum SchemaOf {
    /// The plan file
    Plan,
    /// report.json
    Report,
}

fn pair(text: &str) -> Result<[f64; 2], String> {
    let parts: Vec<f64> = text
        .split(',')
        .map(|part| part.trim().parse::<f64>())
        .collect::<Result<_, _>>()
        .map_err(|_number| "expected two numbers with a comma between".to_owned())?;
    match parts[..] {
        [slope, intercept] if slope.is_finite() && intercept.is_finite() && slope > 0.0 => {
            Ok([slope, intercept])
        }
        [_, _] => Err("the slope must be above 0 and both must be finite".to_owned()),
        _ => Err("expected two numbers with a comma between".to_owned()),
    }
}
