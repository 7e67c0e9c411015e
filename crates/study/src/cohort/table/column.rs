//! The columns of the three tables: name, type, unit, meaning, and where in a
//! report each comes from. The data dictionary is written from here.

/// Type of a column. Every column but `row` and `case` may be empty.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    Text,
    /// 64-bit floating point; never infinite, never not-a-number.
    Real,
    /// 64-bit integer.
    Whole,
}

/// One column.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Column {
    pub(crate) name: &'static str,
    pub(crate) kind: Kind,
    pub(crate) unit: &'static str,
    /// JSON pointer into the report, the hole or the finding; empty where the
    /// value is put together here.
    pub(crate) pointer: &'static str,
    pub(crate) meaning: &'static str,
}

const fn text(name: &'static str, pointer: &'static str, meaning: &'static str) -> Column {
    Column { name, kind: Kind::Text, unit: "", pointer, meaning }
}

const fn whole(name: &'static str, pointer: &'static str, meaning: &'static str) -> Column {
    Column { name, kind: Kind::Whole, unit: "", pointer, meaning }
}

const fn real(
    name: &'static str,
    unit: &'static str,
    pointer: &'static str,
    meaning: &'static str,
) -> Column {
    Column { name, kind: Kind::Real, unit, pointer, meaning }
}

/// What opens every table.
pub(crate) const KEYS: [Column; 2] = [
    whole("row", "", "Row of the manifest, counted from 1, its heading not counted."),
    text("case", "", "The group's own id of the case, from the manifest."),
];

/// `cases`, after the keys.
pub(crate) const CASES: [Column; 27] = [
    text(
        "outcome",
        "",
        "`done`, `scan_refused`, `plan_refused`, or `unfinished`: no final record.",
    ),
    text("refused", "", "Codes of the refusal, parted by spaces."),
    text("input", "", "SHA-256 over scan, plan, flags and version: what the result depends on."),
    text("tool", "/tool/version", "Version of the program that wrote the report."),
    text("scan.digest", "/scan/digest", "SHA-256 over voxels and geometry."),
    whole("scan.columns", "/scan/size/0", "Voxels along columns."),
    whole("scan.rows", "/scan/size/1", "Voxels along rows."),
    whole("scan.slices", "/scan/size/2", "Voxels along slices."),
    real("scan.column_mm", "mm", "/scan/voxel_mm/0", "Distance between voxels along columns."),
    real("scan.row_mm", "mm", "/scan/voxel_mm/1", "Distance between voxels along rows."),
    real("scan.slice_mm", "mm", "/scan/voxel_mm/2", "Distance between slices, the mean."),
    real("scan.kvp", "kV", "/scan/kvp", "Tube voltage."),
    text("scan.kernel", "/scan/kernel", "Class of the kernel: `soft`, `medium`, `sharp`."),
    real("bone.threshold_hu", "HU", "/bone/threshold_hu", "Threshold in use."),
    real("bone.metal_mm3", "mm³", "/bone/metal_mm3", "Volume of metal in the region."),
    real(
        "bone.untrusted_share",
        "1",
        "/bone/untrusted_share",
        "Share of the region not to be trusted.",
    ),
    real("calibration.slope", "mg/cm³/HU", "/calibration/slope", "Slope of the density line."),
    real("calibration.intercept", "mg/cm³", "/calibration/intercept", "Its value at 0 HU."),
    whole("holes", "", "Holes of the plan that were judged."),
    whole("good", "", "Of these, graded good."),
    whole("fair", "", "Of these, graded fair."),
    whole("poor", "", "Of these, graded poor."),
    whole("none", "", "Of these, graded none."),
    whole("unknown", "", "Of these, graded unknown."),
    whole("no_length", "", "Of these, without a safe stocked length."),
    whole("clashes", "", "Pairs of screws that come too near."),
    whole("findings", "", "Reservations."),
];

/// `holes`, after the keys.
pub(crate) const HOLES: [Column; 83] = [
    whole("hole", "", "Position of the hole in its plan, counted from 1."),
    text("id", "/id", "The plan's id of the hole."),
    text("zone", "/zone", "`cup` or `flange`."),
    text("region", "/region", "`ilium`, `ischium`, `pubis`, where the plan says."),
    text("screw", "/screw", "Name of the screw."),
    whole("order", "", "Step of the proposed order at which it is filled, from 1."),
    text("guide", "", "Guide that serves it, where one was proposed."),
    real("major_diameter_mm", "mm", "/major_diameter_mm", "Outer diameter of the thread."),
    real("core_diameter_mm", "mm", "/core_diameter_mm", "Diameter of the core."),
    real("planned_length_mm", "mm", "/planned_length_mm", "Planned length, seat to tip."),
    real("seat_x_mm", "mm", "/seat_mm/0", "Seat, LPS x."),
    real("seat_y_mm", "mm", "/seat_mm/1", "Seat, LPS y."),
    real("seat_z_mm", "mm", "/seat_mm/2", "Seat, LPS z."),
    real("direction_x", "1", "/direction/0", "Unit direction into bone, LPS x."),
    real("direction_y", "1", "/direction/1", "Unit direction into bone, LPS y."),
    real("direction_z", "1", "/direction/2", "Unit direction into bone, LPS z."),
    real("swivel_deg", "°", "/swivel_deg", "Angle allowed about the direction."),
    whole("bone", "/bone", "Label of the bone entered."),
    real(
        "near_cortex_mm",
        "mm",
        "/near_cortex_mm",
        "First entry into the envelope, from the seat.",
    ),
    real("near_cortex_se_mm", "mm", "/near/se_mm", "Standard error of the entry."),
    text("near_rule", "/near/rule", "How the entry was placed."),
    real(
        "near_thickness_mm",
        "mm",
        "/near/cortex_mm",
        "Thickness of the near cortex along the path.",
    ),
    real("near_peak_hu", "HU", "/near/peak_hu", "Highest value of the near cortex on the path."),
    real("near_incidence_deg", "°", "/near/incidence_deg", "Path to surface normal at the entry."),
    real("far_cortex_mm", "mm", "/far_cortex_mm", "First exit from the envelope, from the seat."),
    real("far_cortex_se_mm", "mm", "/far/se_mm", "Standard error of the exit."),
    text("far_rule", "/far/rule", "How the exit was placed."),
    real("far_thickness_mm", "mm", "/far/cortex_mm", "Thickness of the far cortex along the path."),
    real("far_peak_hu", "HU", "/far/peak_hu", "Highest value of the far cortex on the path."),
    real("far_incidence_deg", "°", "/far/incidence_deg", "Path to surface normal at the exit."),
    real("bone_depth_mm", "mm", "/bone_depth_mm", "Exit less entry."),
    real("length_mm", "mm", "/length_mm", "Recommended length; empty when no stocked one is safe."),
    real(
        "purchase_mm",
        "mm",
        "/purchase_mm",
        "Thread inside the envelope at the recommended length.",
    ),
    real("planned_purchase_mm", "mm", "/planned_purchase_mm", "The same at the planned length."),
    real("engaged_mm", "mm", "/engaged_mm", "Purchase weighted by the thread ring's share inside."),
    real("hu.core.mean", "HU", "/hu/core/mean", "Core cylinder, mean."),
    real("hu.core.sd", "HU", "/hu/core/sd", "Core cylinder, standard deviation."),
    real("hu.core.min", "HU", "/hu/core/min", "Core cylinder, least."),
    real("hu.core.p10", "HU", "/hu/core/p10", "Core cylinder, 10th percentile."),
    real("hu.core.p50", "HU", "/hu/core/p50", "Core cylinder, median."),
    real("hu.core.p90", "HU", "/hu/core/p90", "Core cylinder, 90th percentile."),
    real("hu.core.max", "HU", "/hu/core/max", "Core cylinder, largest."),
    whole("hu.core.samples", "/hu/core/samples", "Core cylinder, samples."),
    real("hu.thread.mean", "HU", "/hu/thread/mean", "Core to outer radius of the thread, mean."),
    real("hu.thread.sd", "HU", "/hu/thread/sd", "Thread, standard deviation."),
    real("hu.thread.min", "HU", "/hu/thread/min", "Thread, least."),
    real("hu.thread.p10", "HU", "/hu/thread/p10", "Thread, 10th percentile."),
    real("hu.thread.p50", "HU", "/hu/thread/p50", "Thread, median."),
    real("hu.thread.p90", "HU", "/hu/thread/p90", "Thread, 90th percentile."),
    real("hu.thread.max", "HU", "/hu/thread/max", "Thread, largest."),
    whole("hu.thread.samples", "/hu/thread/samples", "Thread, samples."),
    real("hu.axis.mean", "HU", "/hu/axis/mean", "Axis, mean."),
    real("hu.axis.sd", "HU", "/hu/axis/sd", "Axis, standard deviation."),
    real("hu.axis.min", "HU", "/hu/axis/min", "Axis, least."),
    real("hu.axis.p10", "HU", "/hu/axis/p10", "Axis, 10th percentile."),
    real("hu.axis.p50", "HU", "/hu/axis/p50", "Axis, median."),
    real("hu.axis.p90", "HU", "/hu/axis/p90", "Axis, 90th percentile."),
    real("hu.axis.max", "HU", "/hu/axis/max", "Axis, largest."),
    whole("hu.axis.samples", "/hu/axis/samples", "Axis, samples."),
    real("density_mg_cm3", "mg/cm³", "/density_mg_cm3/mean", "Density of what the thread holds."),
    real("density_se_mg_cm3", "mg/cm³", "/density_mg_cm3/se", "Its standard error, where known."),
    whole("cortices", "/cortices", "Cortices engaged."),
    real(
        "side_wall_mm",
        "mm",
        "/side_wall_mm",
        "Least distance from screw to envelope; negative: breaks out.",
    ),
    real("side_wall_at_mm", "mm", "/side_wall_at_mm", "Where that is, from the seat."),
    real("beyond.bone_mm", "mm", "/beyond/bone_mm", "Past the tip to bone met again."),
    real("beyond.metal_mm", "mm", "/beyond/metal_mm", "Past the tip to metal."),
    real("beyond.skin_mm", "mm", "/beyond/skin_mm", "Past the tip to skin."),
    real("beyond.scan_end_mm", "mm", "/beyond/scan_end_mm", "Past the tip to the scan's end."),
    real("pullout_n.estimate", "N", "/pullout_n/estimate", "Pull-out strength, middle estimate."),
    real("pullout_n.low", "N", "/pullout_n/low", "Its 5th percentile."),
    real("pullout_n.high", "N", "/pullout_n/high", "Its 95th percentile."),
    real(
        "robust.keeps_margin",
        "1",
        "/robust/keeps_margin",
        "Share of wrong placements that keep the far margin.",
    ),
    real("robust.stays_inside", "1", "/robust/stays_inside", "Share that stay inside sideways."),
    real("robust.keeps_grade", "1", "/robust/keeps_grade", "Share that keep the grade."),
    real(
        "robust.purchase_p10_mm",
        "mm",
        "/robust/purchase_p10_mm",
        "10th percentile of purchase under them.",
    ),
    real("robust.purchase_p50_mm", "mm", "/robust/purchase_p50_mm", "Median purchase under them."),
    real(
        "robust.forgiven_shift_mm",
        "mm",
        "/robust/forgiven_shift_mm",
        "Largest shift forgiven in the worst direction.",
    ),
    real(
        "robust.forgiven_tilt_deg",
        "°",
        "/robust/forgiven_tilt_deg",
        "Largest tilt forgiven in the worst direction.",
    ),
    whole("robust.samples", "/robust/samples", "Wrong placements tried."),
    text("purchase", "/purchase", "Grade: `good`, `fair`, `poor`, `none`, `unknown`."),
    text("reasons", "/reasons", "Codes that led to the grade, parted by spaces."),
    real("trust", "1", "/trust", "Share of the purchase whose numbers can be trusted."),
    whole("findings", "", "Reservations about this hole."),
];

/// `findings`, after the keys.
pub(crate) const FINDINGS: [Column; 9] = [
    whole("number", "", "Position among those of the case, counted from 1."),
    text("kind", "", "`finding`: the result stands; `refusal`: there is none."),
    text("code", "/code", "Stable code."),
    text("hole", "/hole", "The plan's id of the hole it is about."),
    text("other", "/other", "Id of a second hole, where it is about a pair."),
    text("text", "/text", "One sentence."),
    real("measured", "unit", "/measured", "What was measured."),
    real("limit", "unit", "/limit", "What it was held against."),
    text("unit", "/unit", "Unit of both."),
];

/// Columns of `holes` that a phantom's answers are held against, each with the
/// name of the answer.
pub(crate) const JUDGED: [(&str, &str); 12] = [
    ("near_cortex_mm", "near_cortex_mm"),
    ("far_cortex_mm", "far_cortex_mm"),
    ("bone_depth_mm", "bone_depth_mm"),
    ("length_mm", "length_mm"),
    ("purchase_mm", "purchase_mm"),
    ("planned_purchase_mm", "planned_purchase_mm"),
    ("side_wall_mm", "side_wall_mm"),
    ("near_thickness_mm", "near_cortex_thickness_mm"),
    ("far_thickness_mm", "far_cortex_thickness_mm"),
    ("hu.core.mean", "core_hu"),
    ("hu.thread.mean", "thread_hu"),
    ("hu.axis.mean", "axis_hu"),
];
