//! Prints the demo's answers, one hole a line; given a folder, writes its series.
#![expect(clippy::print_stdout, reason = "an example talks")]

use std::path::Path;
use std::time::Instant;

use pilothole_phantom::{Case, Recipe, SeriesHeader, write_series};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let start = Instant::now();
    let case = Case::of(&Recipe::demo())?;
    println!("{:.2} s for the answers", start.elapsed().as_secs_f64());
    for hole in &case.truth.holes {
        println!(
            "{:12} in {:6.2?} out {:6.2?} len {:?} room {:.2?} purchase {:.1} thread {:.0?} side {:.1?}",
            hole.id,
            hole.near_cortex_mm,
            hole.far_cortex_mm,
            hole.length_mm,
            hole.length_room_mm,
            hole.purchase_mm,
            hole.thread_hu,
            hole.side_wall_mm,
        );
    }
    let holes = &case.plan.holes;
    for (i, a) in case.truth.holes.iter().enumerate() {
        for (j, b) in case.truth.holes.iter().enumerate().skip(i + 1) {
            let (Some(la), Some(lb)) = (a.length_mm, b.length_mm) else { continue };
            let radii = [i, j].map(|k| case.plan.screw_of(&holes[k]).major_diameter_mm / 2.0);
            let mut gap = f64::INFINITY;
            for s in 0..=200_u32 {
                for t in 0..=200_u32 {
                    let p = holes[i].seat + holes[i].direction * (la * f64::from(s) / 200.0);
                    let q = holes[j].seat + holes[j].direction * (lb * f64::from(t) / 200.0);
                    gap = gap.min(p.distance_mm(q));
                }
            }
            gap -= radii[0] + radii[1];
            if gap < 4.0 {
                println!("{} and {}: {gap:.2} mm", a.id, b.id);
            }
        }
    }
    let Some(folder) = std::env::args().nth(1) else { return Ok(()) };
    let start = Instant::now();
    let phantom = case.scan()?;
    println!("{:.2} s for the scan", start.elapsed().as_secs_f64());
    write_series(&phantom.volume, Path::new(&folder), &SeriesHeader::default())?;
    println!("{:.2} s with its series", start.elapsed().as_secs_f64());
    Ok(())
}
