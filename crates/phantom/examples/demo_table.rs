//! Prints the demo's answers, one hole a line.
#![expect(clippy::print_stdout, reason = "an example talks")]

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let start = std::time::Instant::now();
    let phantom = pilothole_phantom::demo_hip()?;
    println!("{:.2} s", start.elapsed().as_secs_f64());
    for hole in &phantom.truth.holes {
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
