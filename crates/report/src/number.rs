//! The one place where numbers are rounded and turned to text.
//!
//! Two steps, never mixed. *Kept*: what `report.json` and the tables hold,
//! rounded far below any uncertainty, so that the last bit of a sum never
//! shows. *Shown*: what a page, a printout or a terminal says, always made from
//! the kept number.
//!
//! | quantity | kept | shown |
//! |---|---|---|
//! | length | 0.001 mm | 0.1 mm |
//! | Hounsfield units | 0.01 HU | 1 HU |
//! | angle | 0.001° | 0.1° |
//! | force | 0.1 N | 10 N |
//! | share | 0.0001 | 1 % |
//! | density | 0.01 mg/cm³ | 1 mg/cm³ |
//! | area, volume | 0.1 mm², 0.1 mm³ | 1 mm², 1 mm³ |
//! | direction | 0.000001 | not shown |

/// A number rounded to `decimals`, half away from zero; `None` when it is not
/// finite. Never a negative zero.
pub(crate) fn kept(value: f64, decimals: i32) -> Option<f64> {
    let scale = 10_f64.powi(decimals);
    let rounded = (value * scale).round() / scale + 0.0;
    rounded.is_finite().then_some(rounded)
}

/// Length, mm, as kept.
pub(crate) fn mm(value: f64) -> Option<f64> {
    kept(value, 3)
}

/// Hounsfield units, as kept.
pub(crate) fn hu(value: f64) -> Option<f64> {
    kept(value, 2)
}

/// Angle in degrees from radians, as kept.
pub(crate) fn deg(value_rad: f64) -> Option<f64> {
    kept(value_rad.to_degrees(), 3)
}

/// Force, N, as kept.
pub(crate) fn newton(value: f64) -> Option<f64> {
    kept(value, 1)
}

/// Share, 0 to 1, as kept.
pub(crate) fn share(value: f64) -> Option<f64> {
    kept(value, 4)
}

/// What is written where a number is not known.
pub(crate) const UNKNOWN: &str = "unknown";

/// What a number measures, which says how it is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Unit {
    /// Length, mm.
    Mm,
    /// A length that can be ordered, mm.
    Stock,
    /// Hounsfield units.
    Hu,
    /// Angle, degrees.
    Deg,
    /// Force, N.
    Newton,
    /// Share, shown as a percentage.
    Percent,
    /// Movement, µm.
    Micron,
    /// Density, mg/cm³.
    Density,
    /// Area, mm².
    Mm2,
    /// Volume, mm³.
    Mm3,
    /// A plain number.
    Plain,
}

impl Unit {
    /// A kept number as shown, without its unit.
    pub(crate) fn show(self, value: f64) -> String {
        match self {
            Self::Mm | Self::Deg => fixed(value, 1),
            Self::Hu | Self::Micron | Self::Density | Self::Mm2 | Self::Mm3 => fixed(value, 0),
            Self::Newton => fixed((value / 10.0).round() * 10.0, 0),
            Self::Percent => fixed(value * 100.0, 0),
            Self::Stock | Self::Plain => trimmed(value),
        }
    }

    /// The same with its unit, or the word for a missing number.
    pub(crate) fn with_unit(self, value: Option<f64>) -> String {
        value.map_or_else(|| UNKNOWN.to_owned(), |v| format!("{}{}", self.show(v), self.suffix()))
    }

    /// The unit as it follows a number.
    pub(crate) fn suffix(self) -> &'static str {
        match self {
            Self::Mm | Self::Stock => " mm",
            Self::Hu => " HU",
            Self::Deg => "°",
            Self::Newton => " N",
            Self::Percent => " %",
            Self::Micron => " µm",
            Self::Density => " mg/cm³",
            Self::Mm2 => " mm²",
            Self::Mm3 => " mm³",
            Self::Plain => "",
        }
    }

    /// How a number in a unit of `assess` is shown.
    pub(crate) fn of_word(word: Option<&str>) -> Self {
        match word {
            Some("mm") => Self::Mm,
            Some("HU") => Self::Hu,
            Some("deg") => Self::Deg,
            Some("N") => Self::Newton,
            Some("um" | "µm") => Self::Micron,
            Some("mm2") => Self::Mm2,
            Some("mm3") => Self::Mm3,
            _ => Self::Plain,
        }
    }
}

/// With a set number of decimals, half away from zero; a true minus sign.
pub(crate) fn fixed(value: f64, decimals: usize) -> String {
    let Some(rounded) = kept(value, decimals as i32) else { return UNKNOWN.to_owned() };
    let digits = format!("{:.decimals$}", rounded.abs());
    if rounded < 0.0 { format!("\u{2212}{digits}") } else { digits }
}

/// With as many decimals as the number has, at most four.
pub(crate) fn trimmed(value: f64) -> String {
    let text = fixed(value, 4);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn halves_go_away_from_zero_and_zero_has_no_sign() {
        assert_eq!(kept(0.0005, 3), Some(0.001));
        assert_eq!(kept(-0.0004, 3).map(f64::to_bits), Some(0.0_f64.to_bits()));
        assert_eq!(kept(f64::NAN, 3), None);
        assert_eq!(kept(f64::INFINITY, 3), None);
    }

    #[test]
    fn each_quantity_is_shown_as_the_table_says() {
        assert_eq!(Unit::Mm.show(31.449), "31.4");
        assert_eq!(Unit::Stock.show(45.0), "45");
        assert_eq!(Unit::Stock.show(12.5), "12.5");
        assert_eq!(Unit::Hu.show(-12.5), "\u{2212}13");
        assert_eq!(Unit::Newton.show(1234.5), "1230");
        assert_eq!(Unit::Percent.show(0.875), "88");
        assert_eq!(Unit::Mm.with_unit(None), "unknown");
        assert_eq!(Unit::Hu.show(-0.3), "0");
    }
}
