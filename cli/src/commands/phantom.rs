//! `phantom`: a synthetic CT series with its answers, or a manifest of many.

use std::fmt::Write as _;
use std::path::Path;

use pilothole_phantom::{Recipe, SeriesHeader, Varied, build, write_series};
use pilothole_study::{CaseError, Folder};

use super::measure::replace;
use crate::args::Phantom;
use crate::terminal::{self, Failure};

/// Largest recipe that is read, bytes.
const MAX_RECIPE_BYTES: u64 = 1 << 20;

/// Follow a recipe.
pub(crate) fn run(args: &Phantom) -> Result<u8, Failure> {
    let recipe = read(&args.recipe).map_err(Failure::of(false))?;
    if args.vary {
        many(&recipe, args).map_err(Failure::of(false))?;
    } else {
        one(&recipe, args).map_err(Failure::of(false))?;
    }
    Ok(0)
}

fn read(path: &Path) -> Result<Recipe, CaseError> {
    let usage = |text: String| CaseError::Usage(format!("the recipe {text}"));
    let unreadable = |error: std::io::Error| usage(format!("cannot be read: {}", error.kind()));
    let found = std::fs::metadata(path).map_err(unreadable)?.len();
    if found > MAX_RECIPE_BYTES {
        return Err(usage(format!("has {found} bytes, at most {MAX_RECIPE_BYTES} are read")));
    }
    let text = std::fs::read_to_string(path).map_err(unreadable)?;
    Recipe::parse(&text).map_err(|error| usage(format!("is refused: {error}")))
}

/// Write `scan`, `plan.toml` and `truth.json` below a folder in the making.
fn write(
    folder: &Folder,
    below: &str,
    recipe: &Recipe,
    varied: &[Varied],
) -> Result<(), CaseError> {
    let mut phantom = build(recipe).map_err(|error| CaseError::Usage(error.to_string()))?;
    phantom.truth.varied = varied.to_vec();
    let scan = folder.staging().join(below).join("scan");
    write_series(&phantom.volume, &scan, &SeriesHeader::default())
        .map_err(|error| CaseError::Failed(error.to_string()))?;
    let name =
        |file: &str| if below.is_empty() { file.to_owned() } else { format!("{below}/{file}") };
    folder.write(&name("plan.toml"), phantom.plan_toml.as_bytes())?;
    folder.write(&name("truth.json"), phantom.truth.to_json().as_bytes())?;
    Ok(())
}

fn one(recipe: &Recipe, args: &Phantom) -> Result<(), CaseError> {
    let known = ["scan", "plan.toml", "truth.json"];
    let folder = Folder::begin(&args.out.out, &known, replace(&args.out))?;
    write(&folder, "", recipe, &[])?;
    folder.finish()?;
    terminal::say("scan, plan.toml and truth.json are written");
    Ok(())
}

fn many(recipe: &Recipe, args: &Phantom) -> Result<(), CaseError> {
    let variants = recipe.varied().map_err(|error| CaseError::Usage(error.to_string()))?;
    let names: Vec<String> = (0..variants.len()).map(|i| format!("{i:05}")).collect();
    let mut known: Vec<&str> = names.iter().map(String::as_str).collect();
    known.push("manifest.csv");
    let folder = Folder::begin(&args.out.out, &known, replace(&args.out))?;
    let mut manifest = String::from("case,scan,plan,truth");
    for varied in variants.first().map(|(_, varied)| varied).into_iter().flatten() {
        manifest.push(',');
        manifest.push_str(&varied.field);
    }
    manifest.push('\n');
    for (name, (variant, varied)) in names.iter().zip(&variants) {
        write(&folder, name, variant, varied)?;
        let row = format!("{name},{name}/scan,{name}/plan.toml,{name}/truth.json");
        manifest.push_str(&row);
        for one in varied {
            if write!(manifest, ",{}", one.value).is_err() {
                break;
            }
        }
        manifest.push('\n');
    }
    folder.write("manifest.csv", manifest.as_bytes())?;
    folder.finish()?;
    let many = if variants.len() == 1 { "phantom" } else { "phantoms" };
    terminal::say(&format!("{} {many} and manifest.csv are written", variants.len()));
    Ok(())
}
