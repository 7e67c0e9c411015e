//! Prints the demo's answers, one hole a line, and how long each part took.
#![expect(clippy::print_stdout, reason = "an example talks")]

use std::time::Instant;

use pilothole_phantom::{Scanner, Truth, demo_hip};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let start = Instant::now();
    let phantom = demo_hip()?;
    println!("{:.2} s in all", start.elapsed().as_secs_f64());
    let start = Instant::now();
    let truth = Truth::of(&phantom.scene, &phantom.plan, phantom.volume.grid(), "again");
    println!("{:.2} s for the answers", start.elapsed().as_secs_f64());
    let start = Instant::now();
    let scanner = Scanner { fineness: 2, ..Scanner::PERFECT };
    scanner.scan(&phantom.scene, phantom.volume.grid())?;
    println!("{:.2} s for painting", start.elapsed().as_secs_f64());
    for hole in &truth.holes {
        println!(
            "{:12} in {:6.2?} out {:6.2?} len {:?} room {:.2?} purchase {:.1} thread {:.0?} side {:.1?} gap {:.1?}",
            hole.id,
            hole.near_cortex_mm,
            hole.far_cortex_mm,
            hole.length_mm,
            hole.length_room_mm,
            hole.purchase_mm,
            hole.thread_hu,
            hole.side_wall_mm,
            hole.gap_to_next_bone_mm
        );
    }
    Ok(())
}
