//! Extracts a surface from raw little-endian i16 voxels, for the comparison in
//! `tests/peers/surface.py`: times on standard output, an STL where asked.
//!
//! `surface_peer RAW COLUMNS ROWS SLICES SPACING_X SPACING_Y SPACING_Z
//! THRESHOLD THREADS REPEATS nets|plain|contouring [STL]`

use std::error::Error;
use std::io::Write;
use std::time::Instant;

use pilothole_surface::{
    ClosedSurface, DualContouring, Extract, Extraction, MeshLabel, PlainNets, Side, SurfaceNets,
    write_stl,
};
use pilothole_volume::{Direction, Grid, PatientPoint, Region, Volume, Voxels};

fn main() -> Result<(), Box<dyn Error>> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let [raw, size @ .., threshold, threads, repeats, method] = &words[..words.len().min(11)]
    else {
        return Err("see the head of this example".into());
    };
    let counts: Vec<usize> = size[..3].iter().map(|n| n.parse()).collect::<Result<_, _>>()?;
    let spacing: Vec<f64> = size[3..].iter().map(|n| n.parse()).collect::<Result<_, _>>()?;
    let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
    let grid = Grid::from_axes(
        [counts[0], counts[1], counts[2]],
        PatientPoint([0.0; 3]),
        axes,
        [spacing[0], spacing[1], spacing[2]],
    )?;
    let voxels = read_voxels(raw)?;
    let volume = Volume::new(grid, Voxels::I16(voxels), None)?;
    let region = Region::whole(volume.grid());
    let threshold = threshold.parse()?;
    let method: &dyn Extract = match method.as_str() {
        "plain" => &PlainNets,
        "contouring" => &DualContouring,
        _ => &SurfaceNets,
    };
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads.parse()?).build()?;
    reset_peak()?;
    let before = peak_kb()?;
    let (mut wall, mut busy) = (f64::INFINITY, f64::INFINITY);
    let mut extraction = Extraction::default();
    for _ in 0..repeats.parse::<usize>()? {
        drop(std::mem::take(&mut extraction));
        let (clock, cpu) = (Instant::now(), cpu_seconds()?);
        extraction = pool.install(|| method.extract_volume(&volume, region, threshold))?;
        wall = wall.min(clock.elapsed().as_secs_f64());
        busy = busy.min(cpu_seconds()? - cpu);
    }
    let peak = peak_kb()? - before;
    let surface = ClosedSurface::check(extraction.mesh)?;
    if let Some(path) = words.get(11) {
        let mut file = std::fs::File::create(path)?;
        write_stl(&mut file, surface.mesh(), MeshLabel { side: Side::Both })?;
    }
    writeln!(
        std::io::stdout(),
        "{{\"wall_s\": {wall:.4}, \"cpu_s\": {busy:.4}, \"peak_kb\": {peak}, \"triangles\": {}, \"volume_mm3\": {:.1}}}",
        surface.mesh().triangles.len(),
        surface.volume_mm3()
    )?;
    Ok(())
}

/// Voxels, read in pieces so that the file does not stand in memory twice.
fn read_voxels(path: &str) -> std::io::Result<Vec<i16>> {
    let mut file = std::fs::File::open(path)?;
    let mut voxels = Vec::with_capacity(file.metadata()?.len() as usize / 2);
    let mut piece = vec![0; 1 << 20];
    loop {
        let count = std::io::Read::read(&mut file, &mut piece)?;
        if count == 0 {
            return Ok(voxels);
        }
        let (pairs, _) = piece[..count].as_chunks::<2>();
        voxels.extend(pairs.iter().map(|p| i16::from_le_bytes(*p)));
    }
}

/// Let the peak start again from what is in use.
fn reset_peak() -> std::io::Result<()> {
    std::fs::write("/proc/self/clear_refs", "5")
}

fn peak_kb() -> Result<u64, Box<dyn Error>> {
    let status = std::fs::read_to_string("/proc/self/status")?;
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:")).ok_or("no peak")?;
    Ok(line.split_whitespace().next().ok_or("no number")?.parse()?)
}

/// Seconds that this process's threads have run.
fn cpu_seconds() -> Result<f64, Box<dyn Error>> {
    let mut nanoseconds = 0.0;
    for task in std::fs::read_dir("/proc/self/task")? {
        let text = std::fs::read_to_string(task?.path().join("schedstat"))?;
        nanoseconds += text.split_whitespace().next().ok_or("no number")?.parse::<f64>()?;
    }
    Ok(nanoseconds * 1e-9)
}
