//! Frames become a lattice, from position and orientation only.
//!
//! Method: the normal is rows × columns; slices are ordered by their position
//! along it; the line from the first to the last position is the slice axis,
//! so that a tilted gantry is an exact shear; where distances differ, each
//! slice keeps its own place on that line. Slice Location, Slice Thickness,
//! Instance Number and the tilt attribute are never used
//! (DICOM PS3.3 C.7.6.2.1.1).

use pilothole_volume::{Direction, Grid, Offset, PatientPoint};

use crate::dicom::FrameHead;
use crate::reason::Reason;

/// Slices nearer than this are at one place, mm; positions are written with
/// two decimals or more.
pub(super) const REPEAT_MM: f64 = 0.01;
/// A step this many times the median is a gap.
const GAP_RATIO: f64 = 1.5;
/// Steps that differ from the median by more than this part, and by more than
/// [`REPEAT_MM`], are said to be uneven.
const UNEVEN_PART: f64 = 0.01;
/// A slice is put at its own place when it is this far from an even one, mm.
const PLACE_MM: f64 = 5e-4;
/// Farthest a slice may lie beside the line of the others, mm: a tenth of a
/// pixel of a large field would move a screw less than it is known.
const SIDEWAYS_MM: f64 = 0.1;
/// Largest angle between slices of one stack, degrees: over a field of 500 mm
/// its edge moves by 0.4 mm.
const TURN_DEG: f64 = 0.05;
/// Largest departure of the direction cosines from unit length and right angle.
const COSINES: f64 = 1e-3;
/// Least tilt that is said, degrees.
const TILT_DEG: f64 = 0.05;
/// Largest relative difference of pixel spacing within a stack.
const SPACING_PART: f64 = 1e-4;

/// A lattice, and the frames in the order of its slices.
#[derive(Clone, Debug)]
pub(crate) struct Placed {
    pub grid: Grid,
    pub order: Vec<usize>,
    pub tilt_deg: f64,
    pub findings: Vec<Reason>,
}

/// Positions along the normal of the first frame; `None` where a frame lacks
/// its place or is turned otherwise.
pub(super) fn along_normal(frames: &[&FrameHead]) -> Option<Vec<f64>> {
    let axes = axes(frames.first()?).ok()?;
    if frames.iter().any(|frame| turn_deg(axes, frame).is_none_or(|deg| deg > TURN_DEG)) {
        return None;
    }
    frames.iter().map(|frame| Some(Offset(frame.position?).dot(axes[2].offset()))).collect()
}

/// Place frames on a lattice of `matrix` columns and rows.
pub(super) fn place(
    frames: &[&FrameHead],
    matrix: [usize; 2],
    min_slices: usize,
) -> Result<Placed, Reason> {
    check_complete(frames)?;
    let axes = axes(frames[0])?;
    check_same_turn(frames, axes)?;
    let spacing = same_spacing(frames)?;
    let mut stack: Vec<(f64, usize, PatientPoint)> = frames
        .iter()
        .enumerate()
        .filter_map(|(at, frame)| {
            let position = frame.position?;
            Some((Offset(position).dot(axes[2].offset()), at, PatientPoint(position)))
        })
        .collect();
    stack.sort_by(|a, b| a.0.total_cmp(&b.0));
    let steps: Vec<f64> = stack.windows(2).map(|w| w[1].0 - w[0].0).collect();
    check_repeats(&steps)?;
    if frames.len() < min_slices {
        return Err(too_few(frames.len(), min_slices));
    }
    let median = median(&steps);
    check_gaps(&steps, median)?;
    let mut findings = Vec::new();
    findings.extend(uneven(&steps, median));
    let line = stack[stack.len() - 1].2 - stack[0].2;
    findings.extend(sideways(&stack, line)?);
    let tilt_deg = line.cross(axes[2].offset()).length_mm().atan2(line.dot(axes[2].offset()));
    let tilt_deg = tilt_deg.to_degrees();
    if tilt_deg > TILT_DEG {
        findings.push(
            Reason::new(
                "geometry.tilt",
                format!("slices are tilted by {tilt_deg:.2} degrees against the stack; the volume is sheared by exactly that"),
            )
            .measured(tilt_deg, TILT_DEG, "degrees"),
        );
    }
    let grid = lattice(&stack, line, axes, spacing, matrix)?;
    let order = stack.into_iter().map(|(_, at, _)| at).collect();
    Ok(Placed { grid, order, tilt_deg, findings })
}

/// Row, column and normal directions of a frame.
fn axes(frame: &FrameHead) -> Result<[Direction; 3], Reason> {
    let cosines = frame.orientation.ok_or_else(|| missing("ImageOrientationPatient", 1, 1))?;
    let x = Offset([cosines[0], cosines[1], cosines[2]]);
    let y = Offset([cosines[3], cosines[4], cosines[5]]);
    let off = (x.length_mm() - 1.0).abs().max((y.length_mm() - 1.0).abs()).max(x.dot(y).abs());
    let refused = || {
        Reason::new(
            "geometry.orientation",
            format!("ImageOrientationPatient is off unit length or right angle by {off:.1e}, limit {COSINES:.0e}"),
        )
        .measured(off, COSINES, "1")
        .next("ask for the original export of the scanner")
    };
    if off.is_nan() || off > COSINES {
        return Err(refused());
    }
    let along = |offset| Direction::along(offset).ok_or_else(refused);
    Ok([along(x)?, along(y)?, along(x.cross(y))?])
}

fn check_complete(frames: &[&FrameHead]) -> Result<(), Reason> {
    type Need = (&'static str, fn(&FrameHead) -> bool);
    let needs: [Need; 3] = [
        ("ImagePositionPatient", |f| f.position.is_some()),
        ("ImageOrientationPatient", |f| f.orientation.is_some()),
        ("PixelSpacing", |f| f.spacing.is_some_and(|s| s.iter().all(|mm| *mm > 0.0))),
    ];
    for (keyword, is_there) in needs {
        let absent = frames.iter().filter(|frame| !is_there(frame)).count();
        if absent > 0 {
            return Err(missing(keyword, absent, frames.len()));
        }
    }
    if frames.is_empty() { Err(too_few(0, 1)) } else { Ok(()) }
}

fn missing(keyword: &str, absent: usize, of: usize) -> Reason {
    Reason::new(
        "geometry.missing",
        format!("{keyword} is absent or not a usable number in {absent} of {of} slices"),
    )
    .measured(absent as f64, 0.0, "slices")
    .next("ask for the original axial series as DICOM, not for pictures or screen captures")
}

pub(super) fn too_few(found: usize, least: usize) -> Reason {
    let noun = if found == 1 { "slice" } else { "slices" };
    Reason::new("scan.too_few_slices", format!("{found} {noun}, at least {least} are needed"))
        .measured(found as f64, least as f64, "slices")
        .next("give the folder of the whole series")
}

/// Angle between a frame's axes and given ones, degrees.
fn turn_deg(axes: [Direction; 3], frame: &FrameHead) -> Option<f64> {
    let own = self::axes(frame).ok()?;
    let turn = |at: usize| axes[at].angle_rad(own[at]).to_degrees();
    Some(turn(0).max(turn(1)))
}

fn check_same_turn(frames: &[&FrameHead], axes: [Direction; 3]) -> Result<(), Reason> {
    let mut worst = 0.0_f64;
    let mut turned = 0;
    for frame in frames {
        let own = self::axes(frame)?;
        let deg = axes[0].angle_rad(own[0]).max(axes[1].angle_rad(own[1])).to_degrees();
        worst = worst.max(deg);
        turned += usize::from(deg > TURN_DEG);
    }
    if turned == 0 {
        return Ok(());
    }
    Err(Reason::new(
        "geometry.mixed_orientation",
        format!(
            "{turned} of {} slices are turned against the first, by up to {worst:.2} degrees, \
             limit {TURN_DEG}",
            frames.len()
        ),
    )
    .measured(worst, TURN_DEG, "degrees")
    .next("export the axial series alone, without localizer and reformats"))
}

fn same_spacing(frames: &[&FrameHead]) -> Result<[f64; 2], Reason> {
    let all = || frames.iter().filter_map(|frame| frame.spacing);
    let first = all().next().ok_or_else(|| missing("PixelSpacing", frames.len(), frames.len()))?;
    let off = all().fold(0.0_f64, |worst, s| {
        worst.max((s[0] / first[0] - 1.0).abs()).max((s[1] / first[1] - 1.0).abs())
    });
    if off <= SPACING_PART {
        return Ok(first);
    }
    Err(Reason::new(
        "geometry.mixed_spacing",
        format!(
            "PixelSpacing differs between slices by {:.2} %, limit {:.2} %",
            100.0 * off,
            100.0 * SPACING_PART
        ),
    )
    .measured(100.0 * off, 100.0 * SPACING_PART, "percent")
    .next("export each reconstruction as a series of its own"))
}

fn check_repeats(steps: &[f64]) -> Result<(), Reason> {
    let repeats = steps.iter().filter(|step| **step < REPEAT_MM).count();
    let Some(first) = steps.iter().position(|step| *step < REPEAT_MM) else { return Ok(()) };
    Err(Reason::new(
        "geometry.duplicate_slice",
        format!(
            "{repeats} slices lie at the place of another, the first pair as slices {} and {} \
             of {}, {:.3} mm apart, limit {REPEAT_MM} mm; no attribute tells two stacks apart",
            first + 1,
            first + 2,
            steps.len() + 1,
            steps[first]
        ),
    )
    .measured(steps[first], REPEAT_MM, "mm")
    .next("export one reconstruction, each image once"))
}

fn median(steps: &[f64]) -> f64 {
    let mut sorted = steps.to_vec();
    sorted.sort_by(f64::total_cmp);
    match sorted.len() {
        0 => 1.0,
        n if n % 2 == 1 => sorted[n / 2],
        n => 0.5 * (sorted[n / 2 - 1] + sorted[n / 2]),
    }
}

fn check_gaps(steps: &[f64], median: f64) -> Result<(), Reason> {
    let limit = GAP_RATIO * median;
    // Rounding of positions must not decide.
    let is_gap = |step: &f64| *step >= limit - 1e-6;
    let Some(first) = steps.iter().position(is_gap) else { return Ok(()) };
    let count = steps.iter().filter(|step| is_gap(step)).count();
    let before: f64 = steps[..first].iter().sum();
    let widest = steps.iter().copied().fold(0.0, f64::max);
    let noun = if count == 1 { "gap" } else { "gaps" };
    Err(Reason::new(
        "geometry.gap",
        format!(
            "{count} {noun} between slices: the first after slice {} of {}, {before:.1} mm from \
             the first slice, {:.2} mm wide; the widest {widest:.2} mm; limit {limit:.2} mm, that \
             is {GAP_RATIO} times the median step of {median:.2} mm",
            first + 1,
            steps.len() + 1,
            steps[first]
        ),
    )
    .measured(widest, limit, "mm")
    .next("ask for the missing slices, or for the series to be sent again")
    .next("if slices are missing on purpose, ask for a contiguous reconstruction"))
}

fn uneven(steps: &[f64], median: f64) -> Option<Reason> {
    let (at, worst) = steps
        .iter()
        .enumerate()
        .max_by(|a, b| (a.1 - median).abs().total_cmp(&(b.1 - median).abs()))?;
    let limit = REPEAT_MM.max(UNEVEN_PART * median);
    let off = (worst - median).abs();
    (off > limit).then(|| {
        Reason::new(
            "geometry.uneven",
            format!(
                "slices are unevenly spaced: the step after slice {} is {worst:.2} mm where the \
                 median is {median:.2} mm; each slice keeps its own place",
                at + 1
            ),
        )
        .measured(off, limit, "mm")
    })
}

/// How far slices lie beside the line from the first to the last.
fn sideways(stack: &[(f64, usize, PatientPoint)], line: Offset) -> Result<Option<Reason>, Reason> {
    let span = stack[stack.len() - 1].0 - stack[0].0;
    let mut worst = (0.0_f64, 0);
    for (at, (along, _, position)) in stack.iter().enumerate() {
        let expected = stack[0].2 + line * ((along - stack[0].0) / span);
        let off = position.distance_mm(expected);
        if off > worst.0 {
            worst = (off, at);
        }
    }
    let reason = |what: &str| {
        Reason::new(
            "geometry.sideways",
            format!(
                "slice {} of {} lies {:.3} mm beside the line of the stack, {what}",
                worst.1 + 1,
                stack.len(),
                worst.0
            ),
        )
        .measured(worst.0, SIDEWAYS_MM, "mm")
    };
    if worst.0 > SIDEWAYS_MM {
        return Err(reason(&format!("limit {SIDEWAYS_MM} mm"))
            .next("ask for a reconstruction with one centre for all slices"));
    }
    Ok((worst.0 > REPEAT_MM).then(|| reason("which the volume does not follow")))
}

fn lattice(
    stack: &[(f64, usize, PatientPoint)],
    line: Offset,
    axes: [Direction; 3],
    spacing: [f64; 2],
    matrix: [usize; 2],
) -> Result<Grid, Reason> {
    let count = stack.len();
    let steps_between = count.saturating_sub(1).max(1) as f64;
    let span = stack[count - 1].0 - stack[0].0;
    // A single slice has no step; its normal stands in, 1 mm long.
    let step = if span > 0.0 { line * (1.0 / steps_between) } else { axes[2] * 1.0 };
    let unit = step.length_mm();
    // Pixel Spacing states the distance between rows first.
    let grid = Grid::new(
        [matrix[0], matrix[1], count],
        stack[0].2,
        [axes[0] * spacing[1], axes[1] * spacing[0], step],
    );
    let places: Vec<f64> = stack
        .iter()
        .map(
            |(along, ..)| {
                if span > 0.0 { (along - stack[0].0) / span * steps_between } else { 0.0 }
            },
        )
        .collect();
    let is_even =
        places.iter().enumerate().all(|(k, place)| (place - k as f64).abs() * unit < PLACE_MM);
    let placed = if is_even { grid } else { grid.and_then(|grid| grid.with_slice_places(places)) };
    placed.map_err(|error| {
        Reason::new("geometry.lattice", format!("the slices do not span a volume: {error}"))
    })
}
