//! Small phantoms for the program itself, some of them bad.

use std::fs;
use std::path::{Path, PathBuf};

use super::world::World;

/// What is wrong with a case, and the first code of its refusal; none where
/// there is nothing to judge.
pub(crate) const FAULTS: [(&str, Option<&str>); 11] = [
    ("slices are missing", Some("geometry.gap")),
    ("a file is cut short", Some("pixels.truncated")),
    ("nothing is DICOM", Some("scan.nothing")),
    ("the folder is empty", Some("scan.nothing")),
    ("it is magnetic resonance", Some("scan.not_ct")),
    ("two slices at one place", Some("geometry.duplicate_slice")),
    ("the plan is none", Some("plan.side")),
    ("the plan asks for the impossible", Some("plan.range")),
    ("left and right are swapped", Some("plan.side")),
    ("the scan is not there", None),
    ("the plan is not there", None),
];

impl World {
    /// Phantoms, one fault in each of the rows `4`, `4 + every`, …
    pub(crate) fn of_phantoms(count: usize, every: usize) -> Self {
        let world = Self::of_program(pilothole_tests::binary());
        let recipe = format!(
            "name = \"small\"\nscene = \"ball\"\nbone = {{ depth_mm = 26 }}\n\
             grid = {{ spacing_mm = [3, 3, 3], extent_mm = [38, 38, 94] }}\n\
             vary = {{ cortex_mm = [1, 3], turn_s_deg = [-180, 180] }}\n\
             sample = {{ count = {count}, seed = 3 }}\n\
             scanner = {{ cells = 1, blur_mm = 0.6, noise_hu = 10 }}\n"
        );
        let at = |name: &str| world.at(name).to_str().expect("UTF-8").to_owned();
        fs::write(at("recipe.toml"), recipe).expect("written");
        let made = ["phantom", &at("recipe.toml"), "--vary", "--out", &at("phantoms")];
        assert!(pilothole_tests::pilothole(&made).status.success());
        for entry in fs::read_dir(at("phantoms")).expect("made") {
            let entry = entry.expect("readable");
            fs::rename(entry.path(), world.at(&entry.file_name().to_string_lossy()))
                .expect("moved");
        }
        for (at, (fault, _)) in FAULTS.iter().enumerate() {
            let case = world.at(&faulty(at, every));
            if case.exists() {
                spoil(&case, fault);
            }
        }
        world
    }
}

/// Id of the case with this fault, which is also its folder's name.
pub(crate) fn faulty(fault: usize, every: usize) -> String {
    format!("{:05}", fault * every + 3)
}

/// Bring back what a case lacked from another.
pub(crate) fn mend(world: &World, case: &str, from: &str) {
    let [scan, plan] = ["scan", "plan.toml"].map(|name| world.at(case).join(name));
    if !plan.exists() {
        fs::copy(world.at(from).join("plan.toml"), plan).expect("copied");
    }
    if !scan.exists() {
        fs::create_dir(&scan).expect("made");
        for slice in slices(&world.at(from)) {
            fs::copy(&slice, scan.join(slice.file_name().expect("a name"))).expect("copied");
        }
    }
}

fn slices(case: &Path) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> =
        fs::read_dir(case.join("scan")).expect("there").flatten().map(|e| e.path()).collect();
    files.sort();
    files
}

fn spoil(case: &Path, fault: &str) {
    let slices = slices(case);
    let plan = case.join("plan.toml");
    let text = fs::read_to_string(&plan).expect("there");
    let write_plan = |text: &str| fs::write(&plan, text).expect("written");
    match fault {
        "slices are missing" => slices[12..15].iter().for_each(|file| remove(file)),
        "a file is cut short" => {
            let bytes = fs::read(&slices[12]).expect("there");
            fs::write(&slices[12], &bytes[..bytes.len() - 200]).expect("written");
        }
        "nothing is DICOM" => {
            for file in &slices {
                fs::write(file, "a letter").expect("written");
            }
        }
        "the folder is empty" => slices.iter().for_each(|file| remove(file)),
        "it is magnetic resonance" => slices.iter().for_each(|file| make_magnetic(file)),
        "two slices at one place" => {
            fs::copy(&slices[12], case.join("scan/again.dcm")).expect("copied");
        }
        "the plan is none" => write_plan("side = \"neither\"\n"),
        "the plan asks for the impossible" => {
            write_plan(&text.replace("outer_diameter_mm = ", "outer_diameter_mm = -"));
        }
        "left and right are swapped" => write_plan(&format!(
            "{text}\n[[landmark]]\nname = \"asis-left\"\nat_mm = [-99.0, 0.0, 0.0]\n\
             [[landmark]]\nname = \"asis-right\"\nat_mm = [20.0, 0.0, 0.0]\n"
        )),
        "the scan is not there" => {
            fs::remove_dir_all(case.join("scan")).expect("it was there");
        }
        "the plan is not there" => remove(&plan),
        _ => unreachable!("a fault of the list"),
    }
}

fn remove(file: &Path) {
    fs::remove_file(file).expect("it was there");
}

/// Modality (0008,0060) `MR` instead of `CT`.
fn make_magnetic(file: &Path) {
    let mut bytes = fs::read(file).expect("there");
    let wanted = b"\x08\0\x60\0CS\x02\0CT";
    let at = bytes.windows(wanted.len()).position(|w| w == wanted).expect("a modality");
    bytes[at + 8..at + 10].copy_from_slice(b"MR");
    fs::write(file, bytes).expect("written");
}
