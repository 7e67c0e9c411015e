//! Screws: the thread table, and the lengths they come in.

/// A screw: its thread, and the lengths in stock.
///
/// All lengths run from the seat (the underside of the head) along the screw.
#[derive(Clone, Debug, PartialEq)]
pub struct Screw {
    /// Name in the plan, unique in it.
    pub name: String,
    /// Outer diameter of the thread, mm.
    pub major_diameter_mm: f64,
    /// Diameter of the core under the thread, mm; below the outer one.
    pub core_diameter_mm: f64,
    /// From one thread to the next, mm.
    pub pitch_mm: f64,
    /// Where the thread begins, mm from the seat; 0 for a full thread.
    pub thread_start_mm: f64,
    /// Length at the tip that holds nothing, mm.
    pub tip_mm: f64,
    /// Lengths that can be ordered, seat to tip, mm, rising; never empty.
    pub stocked_lengths_mm: Vec<f64>,
    /// Where the thread's numbers come from.
    pub source: String,
    /// Where the stocked lengths come from.
    pub lengths_source: String,
}

impl Screw {
    /// Length of thread of a screw of `length_mm` that could hold, mm, and
    /// where it begins and ends, mm from the seat.
    pub fn thread_mm(&self, length_mm: f64) -> (f64, f64) {
        let end = (length_mm - self.tip_mm).max(0.0);
        (self.thread_start_mm.min(end), end)
    }
}

/// Where the thread table's numbers come from.
///
/// The standard itself was not opened: the table is from memory, and the 6.5 mm
/// and 3.5 mm rows agree with a second, public source.
const ISO_5835: &str = "ISO 5835:1991, from memory (high)";
const ISO_5835_SEEN: &str =
    "ISO 5835:1991, from memory (high); diameters confirmed by a second source";

/// Said of stocked lengths that the plan does not state.
pub(crate) const COMMON_LENGTHS: &str = "common practice, no source; from memory (medium)";
/// Said of what the plan states.
pub(crate) const FROM_PLAN: &str = "plan";

/// Name, outer diameter, core diameter, pitch (mm), source.
type Row = (&'static str, f64, f64, f64, &'static str);

/// HA: shallow thread, for cortical bone. HB: deep thread, for cancellous bone.
const THREADS: [Row; 9] = [
    ("HA 1.5", 1.5, 1.1, 0.5, ISO_5835),
    ("HA 2.0", 2.0, 1.3, 0.6, ISO_5835),
    ("HA 2.7", 2.7, 1.9, 1.0, ISO_5835),
    ("HA 3.5", 3.5, 2.4, 1.25, ISO_5835_SEEN),
    ("HA 4.0", 4.0, 2.9, 1.5, ISO_5835),
    ("HA 4.5", 4.5, 3.0, 1.75, ISO_5835),
    ("HA 5.0", 5.0, 3.5, 1.75, ISO_5835),
    ("HB 4.0", 4.0, 1.9, 1.75, ISO_5835),
    ("HB 6.5", 6.5, 3.0, 2.75, ISO_5835_SEEN),
];

/// The built-in screws: ISO 5835 threads, full thread, no unthreaded tip, in
/// the usual lengths.
///
/// # References
///
/// ISO 5835:1991, Implants for surgery: metal bone screws with hexagonal drive
/// connection, spherical under-surface of head, asymmetrical thread. No length
/// series is part of it; the lengths are common practice and a plan replaces
/// them with `stocked_lengths_mm`.
pub fn thread_table() -> Vec<Screw> {
    THREADS
        .iter()
        .map(|&(name, major, core, pitch, source)| Screw {
            name: name.to_owned(),
            major_diameter_mm: major,
            core_diameter_mm: core,
            pitch_mm: pitch,
            thread_start_mm: 0.0,
            tip_mm: 0.0,
            stocked_lengths_mm: common_lengths_mm(major),
            source: source.to_owned(),
            lengths_source: COMMON_LENGTHS.to_owned(),
        })
        .collect()
}

/// The usual lengths of a thread, mm: 15 to 70 by 5 from 6 mm of diameter up;
/// below, 10 to 60 by 2, then 65 and 70.
pub(crate) fn common_lengths_mm(major_diameter_mm: f64) -> Vec<f64> {
    if major_diameter_mm >= 6.0 {
        (3..=14).map(|n| f64::from(n) * 5.0).collect()
    } else {
        (5..=30).map(|n| f64::from(n) * 2.0).chain([65.0, 70.0]).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_the_standards() {
        // ISO 5835 as the check sheet prints it: outer / core / pitch.
        let printed = "HA 1.5: 1.1/0.5; HA 2.0: 1.3/0.6; HA 2.7: 1.9/1.0; HA 3.5: 2.4/1.25; \
                       HA 4.0: 2.9/1.5; HA 4.5: 3.0/1.75; HA 5.0: 3.5/1.75; HB 4.0: 1.9/1.75; \
                       HB 6.5: 3.0/2.75";
        let table = thread_table();
        for row in printed.split("; ") {
            let (name, numbers) = row.split_once(": ").expect("a name");
            let screw = table.iter().find(|s| s.name == name).expect("in the table");
            let (core, pitch) = numbers.split_once('/').expect("two numbers");
            assert_eq!(name[3..].parse(), Ok(screw.major_diameter_mm));
            assert_eq!(core.parse(), Ok(screw.core_diameter_mm));
            assert_eq!(pitch.parse(), Ok(screw.pitch_mm));
        }
    }

    #[test]
    fn the_usual_lengths_rise_and_end_at_seventy() {
        for screw in thread_table() {
            assert!(screw.stocked_lengths_mm.windows(2).all(|w| w[0] < w[1]));
            assert_eq!(screw.stocked_lengths_mm.last(), Some(&70.0));
        }
        assert_eq!(common_lengths_mm(6.5).len(), 12);
        assert_eq!(common_lengths_mm(4.5).len(), 28);
    }

    #[test]
    fn a_thread_lies_between_shank_and_tip() {
        let mut screw = thread_table().pop().expect("not empty");
        assert_eq!(screw.thread_mm(40.0), (0.0, 40.0));
        (screw.thread_start_mm, screw.tip_mm) = (24.0, 3.0);
        assert_eq!(screw.thread_mm(40.0), (24.0, 37.0));
        assert_eq!(screw.thread_mm(20.0), (17.0, 17.0));
    }
}
