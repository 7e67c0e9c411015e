//! How sharp a reconstruction kernel is, from its name.
//!
//! Names are the vendors'; the classes follow their published use: soft tissue
//! and angiography kernels are soft, body defaults standard, bone, lung and
//! inner-ear kernels sharp. A name that no rule covers is unknown, never
//! guessed.

/// Sharpness of a reconstruction kernel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum KernelClass {
    /// Smoothing, for soft tissue.
    Soft,
    /// The scanner's default for the body.
    Standard,
    /// Edge enhancing: HU at edges overshoot by a hundred and more.
    Sharp,
    /// Not stated, or not known to this version.
    Unknown,
}

impl KernelClass {
    /// The class as a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Soft => "soft",
            Self::Standard => "standard",
            Self::Sharp => "sharp",
            Self::Unknown => "unknown",
        }
    }

    /// Classify by the name of the kernel, the first of several.
    pub(crate) fn from_name(name: Option<&str>) -> Self {
        let Some(name) = name.and_then(|n| n.split('\\').next()) else { return Self::Unknown };
        let name = name.trim().to_ascii_uppercase();
        by_word(&name).or_else(|| by_number(&name)).unwrap_or(Self::Unknown)
    }
}

/// Kernels with a name of their own.
fn by_word(name: &str) -> Option<KernelClass> {
    const WORDS: &[(KernelClass, &[&str])] = &[
        (KernelClass::Soft, &["SOFT", "SMOOTH", "A", "XRES STANDARD", "UA", "CB"]),
        (KernelClass::Standard, &["STANDARD", "STND", "STD", "STD+", "B", "C", "UB", "DETAIL"]),
        (
            KernelClass::Sharp,
            &[
                "BONE", "BONEPLUS", "BONE+", "EDGE", "LUNG", "CHST", "ULTRA", "HD BONE", "D", "E",
                "L", "YA", "YB", "YC", "YD", "YE",
            ],
        ),
    ];
    WORDS.iter().find(|(_, words)| words.contains(&name)).map(|(class, _)| *class)
}

/// Kernels with a family and a number.
fn by_number(name: &str) -> Option<KernelClass> {
    let digits_at = name.find(|c: char| c.is_ascii_digit())?;
    let (family, rest) = name.split_at(digits_at);
    let digits: String = rest.chars().take_while(char::is_ascii_digit).collect();
    let number: u32 = digits.parse().ok()?;
    match family {
        // Two digits rise with sharpness, for body, head, vessel, quantitative.
        "B" | "H" | "I" | "J" | "T" | "D" | "BR" | "BF" | "BL" | "BV" | "HR" | "HV" | "QR"
        | "HC" | "BP" | "HP" | "RF" | "UR" | "UB" | "BM" | "HF"
            if digits.len() == 2 =>
        {
            Some(match number {
                0..=37 => KernelClass::Soft,
                38..=47 => KernelClass::Standard,
                _ => KernelClass::Sharp,
            })
        }
        // FC numbers name a purpose.
        "FC" => match number {
            1..=5 | 11..=15 | 41..=45 => Some(KernelClass::Soft),
            8 | 9 | 18 | 19 => Some(KernelClass::Standard),
            30..=35 | 50..=56 | 80..=86 => Some(KernelClass::Sharp),
            _ => None,
        },
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_several_vendors_are_classed_and_others_are_not_guessed() {
        let class = |name| KernelClass::from_name(Some(name));
        for (name, expected) in [
            ("B30f", KernelClass::Soft),
            ("Br38f\\3", KernelClass::Standard),
            ("B70s", KernelClass::Sharp),
            ("STANDARD", KernelClass::Standard),
            ("BONEPLUS", KernelClass::Sharp),
            ("FC08", KernelClass::Standard),
            ("FC30", KernelClass::Sharp),
            ("YA", KernelClass::Sharp),
            ("own kernel 7", KernelClass::Unknown),
        ] {
            assert_eq!(class(name), expected, "{name}");
        }
        assert_eq!(KernelClass::from_name(None), KernelClass::Unknown);
    }
}
