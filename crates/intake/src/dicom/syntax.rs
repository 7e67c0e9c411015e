//! Transfer syntaxes: how elements and pixels are written.

use super::walk::Encoding;

/// How pixels are packed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Codec {
    Native,
    RunLength,
    JpegLossless,
    JpegBaseline,
    JpegLs,
    Jpeg2000,
    /// Known to the standard, not to us.
    Unsupported,
}

/// A transfer syntax.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Syntax {
    /// The standard's name for it.
    pub name: &'static str,
    pub encoding: Encoding,
    pub deflated: bool,
    pub codec: Codec,
    /// Whether the syntax itself may have changed values.
    pub lossy: bool,
}

const fn little(name: &'static str, codec: Codec, lossy: bool) -> Syntax {
    let encoding = Encoding { explicit: true, big_endian: false };
    Syntax { name, encoding, deflated: false, codec, lossy }
}

/// By unique identifier (PS3.6 table A-1), below the root 1.2.840.10008.1.2.
const KNOWN: &[(&str, Syntax)] = &[
    (
        "",
        Syntax {
            encoding: Encoding { explicit: false, big_endian: false },
            ..little("implicit little endian", Codec::Native, false)
        },
    ),
    (".1", little("explicit little endian", Codec::Native, false)),
    (
        ".1.99",
        Syntax {
            deflated: true,
            ..little("deflated explicit little endian", Codec::Native, false)
        },
    ),
    (
        ".2",
        Syntax {
            encoding: Encoding { explicit: true, big_endian: true },
            ..little("explicit big endian", Codec::Native, false)
        },
    ),
    (".4.50", little("JPEG baseline, 8 bit", Codec::JpegBaseline, true)),
    (".4.51", little("JPEG extended, 12 bit", Codec::Unsupported, true)),
    (".4.53", little("JPEG spectral selection", Codec::Unsupported, true)),
    (".4.55", little("JPEG full progression", Codec::Unsupported, true)),
    (".4.57", little("JPEG lossless, process 14", Codec::JpegLossless, false)),
    (".4.70", little("JPEG lossless, first-order prediction", Codec::JpegLossless, false)),
    (".4.80", little("JPEG-LS lossless", Codec::JpegLs, false)),
    (".4.81", little("JPEG-LS near-lossless", Codec::JpegLs, true)),
    (".4.90", little("JPEG 2000 lossless", Codec::Jpeg2000, false)),
    (".4.91", little("JPEG 2000", Codec::Jpeg2000, true)),
    (".4.92", little("JPEG 2000 part 2 lossless", Codec::Unsupported, false)),
    (".4.93", little("JPEG 2000 part 2", Codec::Unsupported, true)),
    (".4.100", little("MPEG-2", Codec::Unsupported, true)),
    (".4.102", little("MPEG-4", Codec::Unsupported, true)),
    (".4.110", little("JPEG XL lossless", Codec::Unsupported, false)),
    (".4.111", little("JPEG XL, recompressed JPEG", Codec::Unsupported, true)),
    (".4.112", little("JPEG XL", Codec::Unsupported, true)),
    (".4.201", little("High-Throughput JPEG 2000 lossless", Codec::Unsupported, false)),
    (
        ".4.202",
        little("High-Throughput JPEG 2000 lossless, by resolution", Codec::Unsupported, false),
    ),
    (".4.203", little("High-Throughput JPEG 2000", Codec::Unsupported, true)),
    (".5", little("run-length encoding", Codec::RunLength, false)),
];

impl Syntax {
    /// The syntax of an identifier; one that is not known counts as explicit
    /// little endian with pixels that cannot be read.
    pub(crate) fn from_uid(uid: &str) -> Self {
        let below = uid.strip_prefix("1.2.840.10008.1.2");
        let known = below.and_then(|below| KNOWN.iter().find(|(tail, _)| *tail == below));
        known.map_or(little("unknown to this version", Codec::Unsupported, false), |(_, s)| *s)
    }

    /// Native pixels in a given encoding, where the file does not say.
    pub(crate) fn native(encoding: Encoding) -> Self {
        let uid = match (encoding.explicit, encoding.big_endian) {
            (false, _) => "1.2.840.10008.1.2",
            (true, false) => "1.2.840.10008.1.2.1",
            (true, true) => "1.2.840.10008.1.2.2",
        };
        Self::from_uid(uid)
    }
}
