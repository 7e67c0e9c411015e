//! What was typed.

use std::path::PathBuf;

use clap::{Args as ClapArgs, Parser, Subcommand};
use pilothole_study::FILE_NAMES;

/// Bone behind every screw hole of an acetabular component, measured on CT.
///
/// Decision support for research and planning, not a medical device. A
/// licensed surgeon decides; local codes prevail.
#[derive(Debug, Parser)]
#[command(name = "pilothole", version, arg_required_else_help = true, max_term_width = 80)]
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
    /// Bone-stock chart around the socket: depth and density in every direction
    Stock(Stock),
    /// Better directions within each hole's swivel; writes a new plan
    Refine(Refine),
    /// Two or more reports side by side
    Compare(Compare),
    /// Many cases
    Cohort(Cohort),
    /// A synthetic CT series with its answers
    Phantom(Phantom),
    /// A first plan, a plan from a table of holes, or is a plan sound
    Plan(Plan),
    /// Propose hip centres found on the surface, to be confirmed
    Landmarks(Landmarks),
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
    #[arg(long, value_name = "HU", allow_negative_numbers = true)]
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
    /// Write surfaces of fewer triangles, this near the full ones; bones.json
    /// says how near
    #[arg(long, value_name = "MM", value_parser = distance_mm)]
    pub(crate) within_mm: Option<f64>,
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
    /// Write these files only; all unless said
    #[arg(long, value_name = "NAMES", value_delimiter = ',', value_parser = FILE_NAMES)]
    pub(crate) only: Vec<String>,
    /// Process that this one ends with; for cohorts
    #[arg(long, hide = true)]
    pub(crate) parent: Option<u32>,
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

/// A distance above 0, mm.
fn distance_mm(text: &str) -> Result<f64, String> {
    let distance_mm: f64 = text.trim().parse().map_err(|_number| "expected a number".to_owned())?;
    if distance_mm > 0.0 && distance_mm.is_finite() {
        Ok(distance_mm)
    } else {
        Err(format!("{distance_mm} mm, expected a distance above 0 mm"))
    }
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

#[derive(Debug, ClapArgs)]
pub(crate) struct Stock {
    /// Folder, DICOM file, .zip, .tar, .tar.gz or NIfTI file
    pub(crate) scan: PathBuf,
    /// Plan file, TOML or JSON
    pub(crate) plan: PathBuf,
    /// Screw whose thread is measured; the first hole's unless said
    #[arg(long, value_name = "NAME")]
    pub(crate) screw: Option<String>,
    /// Angle between neighbouring directions, degrees; 1 unless said
    #[arg(long, value_name = "DEG")]
    pub(crate) spacing_deg: Option<f64>,
    /// Distance between seats on the socket, mm; 10 unless said
    #[arg(long, value_name = "MM")]
    pub(crate) seat_spacing_mm: Option<f64>,
    #[command(flatten)]
    pub(crate) out: Out,
    #[command(flatten)]
    pub(crate) measure: Measure,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Refine {
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
pub(crate) struct Compare {
    /// Folders of results, or report.json files; the first is compared against
    #[arg(required = true, num_args = 2..)]
    pub(crate) reports: Vec<PathBuf>,
    /// Allow reports of different scans
    #[arg(long)]
    pub(crate) different_scans: bool,
    /// Print the comparison as JSON on stdout
    #[arg(long)]
    pub(crate) json: bool,
    #[command(flatten)]
    pub(crate) out: Out,
}

#[derive(Debug, ClapArgs)]
#[command(args_conflicts_with_subcommands = true, subcommand_negates_reqs = true)]
pub(crate) struct Cohort {
    #[command(subcommand)]
    pub(crate) command: Option<CohortCommand>,
    /// CSV or TOML of cases: case, scan, plan, and columns of your own
    #[arg(required = true)]
    pub(crate) manifest: Option<PathBuf>,
    /// Folder of the cohort
    #[arg(long, value_name = "DIR", required = true)]
    pub(crate) out: Option<PathBuf>,
    /// Cases at the same time; all cores unless said
    #[arg(long, value_name = "N")]
    pub(crate) jobs: Option<usize>,
    /// Memory for all cases together, bytes, or with K, M or G
    #[arg(long, value_name = "BYTES", value_parser = bytes)]
    pub(crate) memory: Option<u64>,
    /// End a case after so many seconds
    #[arg(long, value_name = "SECONDS")]
    pub(crate) case_limit: Option<u64>,
    /// Do the rows whose number modulo N is I, counted from 0
    #[arg(long, value_name = "I/N")]
    pub(crate) shard: Option<String>,
    /// Join what shards have done into tables and a page
    #[arg(long)]
    pub(crate) gather: bool,
    /// Make and keep every file of each case, not only report.json
    #[arg(long)]
    pub(crate) keep_all: bool,
    /// Make and keep these files of each case beside report.json
    #[arg(long, value_name = "NAMES", value_delimiter = ',', value_parser = FILE_NAMES)]
    #[arg(conflicts_with = "keep_all")]
    pub(crate) keep: Vec<String>,
    /// Look at every byte of scans and plans, not only at sizes and times
    #[arg(long)]
    pub(crate) bytes: bool,
    #[command(flatten)]
    pub(crate) measure: Measure,
}

#[derive(Debug, Subcommand)]
pub(crate) enum CohortCommand {
    /// Everything that can be wrong before the night
    Check {
        /// CSV or TOML of cases
        manifest: PathBuf,
    },
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Phantom {
    /// Recipe, TOML; docs/methods/phantom.md explains it
    pub(crate) recipe: PathBuf,
    /// Make the variants that the recipe asks for, and a manifest of them
    #[arg(long)]
    pub(crate) vary: bool,
    #[command(flatten)]
    pub(crate) out: Out,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Plan {
    #[command(subcommand)]
    pub(crate) command: PlanCommand,
}

#[derive(Debug, Subcommand)]
pub(crate) enum PlanCommand {
    /// A first plan around a socket, on stdout
    New {
        /// Folder, DICOM file, .zip, .tar, .tar.gz or NIfTI file
        scan: PathBuf,
        /// The operated hip
        #[arg(long, value_enum)]
        side: SideOf,
        /// Planned hip centre, mm, LPS
        #[arg(long, value_name = "X,Y,Z", allow_hyphen_values = true, value_parser = triple)]
        centre: [f64; 3],
        /// Out of the socket's mouth, LPS; any length
        #[arg(long, value_name = "X,Y,Z", allow_hyphen_values = true, value_parser = triple)]
        axis: [f64; 3],
        /// Outer diameter of the socket, mm
        #[arg(long, value_name = "MM")]
        diameter: f64,
    },
    /// A plan with the holes of a table, on stdout
    Import {
        /// CSV of holes: id, seat, direction, screw, length
        table: PathBuf,
        /// Plan that says everything else
        #[arg(long, value_name = "PLAN")]
        base: PathBuf,
        /// From the table's frame to the plan's: four rows of four numbers, or
        /// three or more rows of two points
        #[arg(long, value_name = "FILE")]
        frame: Option<PathBuf>,
    },
    /// Everything that is wrong with a plan, with lines
    Check {
        /// Plan file, TOML or JSON
        plan: PathBuf,
        /// Check that every seat lies in this scan
        scan: Option<PathBuf>,
        /// Print as JSON
        #[arg(long)]
        json: bool,
    },
}

#[derive(Clone, Copy, Debug, clap::ValueEnum)]
pub(crate) enum SideOf {
    /// The patient's left
    Left,
    /// The patient's right
    Right,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Landmarks {
    /// Folder, DICOM file, .zip, .tar, .tar.gz or NIfTI file
    pub(crate) scan: PathBuf,
    /// A point inside the left femoral head, mm, LPS; without any, hips are sought
    #[arg(long, value_name = "X,Y,Z", allow_hyphen_values = true, value_parser = triple)]
    pub(crate) left: Option<[f64; 3]>,
    /// A point inside the right femoral head, mm, LPS
    #[arg(long, value_name = "X,Y,Z", allow_hyphen_values = true, value_parser = triple)]
    pub(crate) right: Option<[f64; 3]>,
    /// Ordinal of the series, as `inspect` prints it
    #[arg(long, value_name = "N")]
    pub(crate) series: Option<usize>,
    /// Folder for pictures to check the proposals by
    #[arg(long, value_name = "DIR")]
    pub(crate) out: Option<PathBuf>,
    /// Let go of whatever the folder holds
    #[arg(long, requires = "out")]
    pub(crate) replace: bool,
}

fn triple(text: &str) -> Result<[f64; 3], String> {
    let parts: Vec<f64> = text
        .split(',')
        .map(|part| part.trim().parse::<f64>())
        .collect::<Result<_, _>>()
        .map_err(|_number| "expected three numbers with commas between".to_owned())?;
    match parts[..] {
        [x, y, z] if [x, y, z].iter().all(|c| c.is_finite()) => Ok([x, y, z]),
        _ => Err("expected three finite numbers with commas between".to_owned()),
    }
}

fn bytes(text: &str) -> Result<u64, String> {
    let (digits, unit) = match text.trim().to_ascii_uppercase() {
        t if t.ends_with('K') => (t[..t.len() - 1].to_owned(), 1 << 10),
        t if t.ends_with('M') => (t[..t.len() - 1].to_owned(), 1 << 20),
        t if t.ends_with('G') => (t[..t.len() - 1].to_owned(), 1 << 30),
        t => (t, 1),
    };
    digits
        .parse::<u64>()
        .ok()
        .and_then(|count| count.checked_mul(unit))
        .ok_or_else(|| "expected a number of bytes, or one with K, M or G".to_owned())
}
