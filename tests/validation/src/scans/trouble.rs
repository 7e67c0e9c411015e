//! Series with something wrong: each refused, or read with what was said.

use std::path::Path;

use super::reading;

/// The series, and what is wrong with each by its own record.
const SERIES: [(&str, &str); 12] = [
    (
        "tilt18_uneven_ge",
        "gantry tilt of 18.5°, slices 4, 1 and 7 mm apart, stored values that are HU",
    ),
    ("tilt_plus16_philips", "gantry tilt of 16.5°, otherwise sound"),
    ("head_phantom_1mm", "nothing: a head phantom of 1 mm"),
    ("mixed_two_kernels_scout", "two kernels at the same places and a scout in one folder"),
    ("dicomdir_two_series", "the same under a DICOMDIR, names without extension"),
    ("localizers", "two scouts, no volume"),
    ("jpeg2000_overlap_no_uids_siemens", "JPEG 2000, slices of 3 mm every 2 mm, empty UIDs"),
    ("implicit_3slices", "three slices only, feet first, padding"),
    ("codecs_ct1", "one slice in nine syntaxes, two of them lossy"),
    ("secondary_captures_in_ct", "screens with text and a scout, named CT"),
    ("codecs_rare", "one slice in eight syntaxes, four of them lossy JPEG"),
    ("enhanced_ct_perfusion", "an enhanced object whose values are not HU"),
];

pub(super) fn page(scans: &Path) -> String {
    let mut text = vec![String::from(
        "# Troublesome series\n\n\
         Twelve open series, each with something wrong; what is wrong is from their own record, the rest is what `inspect` says.\n\
         A refusal is right where HU or places would be wrong; a reservation is right where they hold with a doubt.\n",
    )];
    for (name, wrong) in SERIES {
        let said = reading::table(&scans.join(format!("trouble/{name}.zip")));
        text.push(format!("\n## {name}\n\n{wrong}.\n\n{said}"));
    }
    text.concat()
}
