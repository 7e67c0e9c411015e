//! The only place that reads the clock.

use std::time::{SystemTime, UNIX_EPOCH};

/// The time now, RFC 3339, UTC, whole seconds; `None` when the clock stands
/// before 1970.
pub fn now() -> Option<String> {
    #[expect(clippy::disallowed_methods, reason = "this is the place the rule names")]
    let since = SystemTime::now().duration_since(UNIX_EPOCH).ok()?;
    Some(written(since.as_secs()))
}

/// Seconds since 1970 as RFC 3339, UTC.
fn written(seconds: u64) -> String {
    let (days, rest) = (seconds / 86_400, seconds % 86_400);
    let [year, month, day] = date(days);
    let (hour, minute, second) = (rest / 3600, rest / 60 % 60, rest % 60);
    format!("{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}Z")
}

/// Year, month, day of a count of days since 1 January 1970, Gregorian.
///
/// Hinnant, "chrono-compatible low-level date algorithms", `civil_from_days`.
fn date(days: u64) -> [u64; 3] {
    let shifted = days + 719_468;
    let era = shifted / 146_097;
    let day_of_era = shifted % 146_097;
    let year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let month_from_march = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * month_from_march + 2) / 5 + 1;
    let month = if month_from_march < 10 { month_from_march + 3 } else { month_from_march - 9 };
    [year_of_era + era * 400 + u64::from(month <= 2), month, day]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_moments_are_written_right() {
        // From `date -u -d @SECONDS +%FT%TZ`.
        for (seconds, text) in [
            (0, "1970-01-01T00:00:00Z"),
            (951_782_400, "2000-02-29T00:00:00Z"),
            (1_767_225_599, "2025-12-31T23:59:59Z"),
            (4_107_542_400, "2100-03-01T00:00:00Z"),
        ] {
            assert_eq!(written(seconds), text);
        }
    }
}
