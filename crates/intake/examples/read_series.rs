//! Lists the series at a path and reads the usable ones, with times.
//!
//! Usage: `read_series PATH [REPEATS]`. Used by `tests/peers/read_times.py`.
#![expect(clippy::print_stdout, reason = "an example talks to a terminal")]

use std::path::Path;
use std::time::Instant;

use pilothole_intake::{Limits, Purpose, Verdict, open};

fn main() {
    let mut arguments = std::env::args().skip(1);
    let path = arguments.next().unwrap_or_default();
    let repeats: usize = arguments.next().and_then(|n| n.parse().ok()).unwrap_or(1);
    let limits = Limits::default();
    for _ in 0..repeats {
        let start = Instant::now();
        let scan = match open(Path::new(&path), &limits) {
            Ok(scan) => scan,
            Err(refusal) => {
                println!("refused: {refusal}");
                return;
            }
        };
        println!("opened in {:.1} ms: {scan:?}", start.elapsed().as_secs_f64() * 1e3);
        for series in scan.series() {
            println!(
                "{} {}x{}x{} voxel {:?} kVp {:?} {} original {} contrast {:?} {:?} {:?}",
                series.ordinal,
                series.matrix[0],
                series.matrix[1],
                series.slices,
                series.voxel_mm,
                series.kvp,
                series.kernel_class.word(),
                series.original,
                series.contrast,
                series.syntax,
                series.told_apart_by,
            );
            for purpose in Purpose::ALL {
                match series.verdicts.of(purpose) {
                    Verdict::Usable => println!("   {}: usable", purpose.words()),
                    Verdict::Reserved(why) => {
                        let codes: Vec<&str> = why.iter().map(|r| r.code).collect();
                        println!("   {}: reserved {}", purpose.words(), codes.join(" "));
                    }
                    Verdict::Refused(why) => {
                        let texts: Vec<String> = why.iter().map(ToString::to_string).collect();
                        println!("   {}: refused {}", purpose.words(), texts.join(" | "));
                    }
                }
            }
            for finding in &series.findings {
                println!("   finding {finding}");
            }
        }
        for ordinal in scan.usable() {
            let start = Instant::now();
            match scan.read(Some(ordinal), &limits) {
                Ok(read) => {
                    let time_ms = start.elapsed().as_secs_f64() * 1e3;
                    let grid = read.volume.grid();
                    let digest =
                        read.digest.iter().fold(String::new(), |text, b| format!("{text}{b:02x}"));
                    println!(
                        "read {ordinal} in {time_ms:.1} ms: {:?} {:?}",
                        grid.size(),
                        grid.origin()
                    );
                    println!("   ceiling {:?} {:?}", read.volume.ceiling_hu(), read.facts);
                    println!("   digest {digest}");
                }
                Err(refusal) => println!("read {ordinal}: refused {refusal}"),
            }
        }
    }
}
