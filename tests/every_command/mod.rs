//! Every command of the binary on one small scan, for tests that look at all.
#![allow(clippy::allow_attributes, reason = "what is unused differs by test file")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use pilothole_phantom::{Case, Recipe, SceneKind, SeriesHeader, write_series};
use pilothole_tests::{binary, files_below};

/// Files that the commands read, and a folder for what they write.
pub(crate) struct World {
    pub(crate) scan: PathBuf,
    pub(crate) plan: PathBuf,
    pub(crate) out: PathBuf,
    home: PathBuf,
}

const TABLE: &str = "id,seat_x,seat_y,seat_z,direction_x,direction_y,direction_z,screw,length_mm\n\
                     t1,1.0,2.0,-20.0,0.0,0.0,1.0,HB 6.5,30\nt2,4.0,2.0,-20.0,0.0,0.6,0.8,HB 6.5,\n";
const FRAME: &str = "1 0 0 1\n0 1 0 -1\n0 0 1 0\n0 0 0 1\n";
const RECIPE: &str = "name = \"made\"\nscene = \"plate\"\n[grid]\nspacing_mm = [3.0, 3.0, 3.0]\nextent_mm = [30.0, 30.0, 48.0]\n";

impl World {
    /// Write everything below `home`, whose last folders hold `name`.
    pub(crate) fn make(home: &Path, name: &str, header: &SeriesHeader) -> Self {
        let mut recipe = Recipe::of(SceneKind::Ball);
        recipe.grid.spacing_mm = [2.0; 3];
        recipe.grid.extent_mm = [56.0, 56.0, 104.0];
        let phantom = Case::of(&recipe).and_then(Case::scan).expect("a sound recipe");
        let place = |end: &str| home.join(format!("{name}{end}"));
        let world = Self {
            scan: place("-scan"),
            plan: place("-plan.toml"),
            out: home.join("out"),
            home: home.to_path_buf(),
        };
        write_series(&phantom.volume, &world.scan, header).expect("written");
        fs::write(&world.plan, &phantom.plan_toml).expect("written");
        fs::write(place("-table.csv"), TABLE).expect("written");
        fs::write(place("-frame.txt"), FRAME).expect("written");
        fs::write(place("-recipe.toml"), RECIPE).expect("written");
        let rows = ["c1", "c2"].map(|case| format!("{case},{name}-scan,{name}-plan.toml,north\n"));
        let manifest = format!("case,scan,plan,site\n{}", rows.concat());
        fs::write(place("-manifest.csv"), manifest).expect("written");
        world
    }

    /// The commands in an order in which each finds what it reads.
    pub(crate) fn commands(&self, name: &str, threads: &str) -> Vec<Vec<String>> {
        let text = |path: &Path| path.to_str().expect("UTF-8").to_owned();
        let place = |end: &str| text(&self.home.join(format!("{name}{end}")));
        let to = |folder: &str| text(&self.out.join(folder));
        let (scan, plan) = (text(&self.scan), text(&self.plan));
        let measured = |words: &[&str], folder: &str| {
            let mut all: Vec<String> = words.iter().map(|word| (*word).to_owned()).collect();
            all.extend(["--out".to_owned(), to(folder)]);
            let flags = ["--samples", "50", "--timeless", "--threads", threads];
            all.extend(flags.map(str::to_owned));
            all
        };
        let plain = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect();
        vec![
            plain(&["inspect", &scan]),
            plain(&["inspect", &scan, "--json", "--identity"]),
            measured(&["bone", &scan, "--plan", &plan], "bone"),
            measured(&["assess", &scan, &plan], "report"),
            measured(&["assess", &scan, &plan, "--json", "--threshold-hu", "300"], "second"),
            plain(&["compare", &to("report"), &to("second"), "--out", &to("compare")]),
            measured(
                &["stock", &scan, &plan, "--spacing-deg", "10", "--seat-spacing-mm", "20"],
                "stock",
            ),
            measured(&["refine", &scan, &plan], "refine"),
            plain(&["phantom", &place("-recipe.toml"), "--out", &to("phantom")]),
            plain(&[
                "plan",
                "new",
                &scan,
                "--side",
                "left",
                "--centre",
                "0,0,-20",
                "--axis",
                "0,0,-1",
                "--diameter",
                "40",
            ]),
            plain(&[
                "plan",
                "import",
                &place("-table.csv"),
                "--base",
                &plan,
                "--frame",
                &place("-frame.txt"),
            ]),
            plain(&["plan", "check", &plan, &scan]),
            plain(&["landmarks", &scan, "--left", "0,0,0"]),
            plain(&["screws"]),
            plain(&["schema", "plan"]),
            plain(&["schema", "report"]),
            plain(&["cohort", "check", &place("-manifest.csv")]),
            measured(&["cohort", &place("-manifest.csv"), "--jobs", "2"], "cohort"),
            plain(&["cohort", &place("-manifest.csv"), "--out", &to("cohort"), "--gather"]),
        ]
    }
}

/// Run one command at the noisiest.
#[allow(dead_code, reason = "each test file uses its part")]
pub(crate) fn run(words: &[String]) -> Output {
    Command::new(binary())
        .args(words)
        .env("RUST_BACKTRACE", "1")
        .env("RUST_LOG", "trace")
        .output()
        .expect("the binary runs")
}

/// Everything below a folder that may be passed on, by its place in it.
#[allow(dead_code, reason = "each test file uses its part")]
pub(crate) fn results(folder: &Path) -> Vec<(String, Vec<u8>)> {
    if !folder.exists() {
        return Vec::new();
    }
    files_below(folder)
        .into_iter()
        .map(|path| {
            let place = path.strip_prefix(folder).expect("below").to_string_lossy().into_owned();
            (place, fs::read(&path).expect("readable"))
        })
        // A cohort's own rooms are not for passing on, as its page says.
        .filter(|(place, _)| !place.contains(".private") && !place.contains(".tmp"))
        .collect()
}
