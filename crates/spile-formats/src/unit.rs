//! Units of length as files name them.

/// A unit of length that a file can state.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FileUnit {
    /// A thousandth of a millimetre.
    Micron,
    /// Millimetre.
    Millimetre,
    /// Centimetre.
    Centimetre,
    /// 25.4 mm.
    Inch,
    /// 304.8 mm.
    Foot,
    /// Metre.
    Metre,
}

impl FileUnit {
    const ALL: [Self; 6] =
        [Self::Micron, Self::Millimetre, Self::Centimetre, Self::Inch, Self::Foot, Self::Metre];

    /// The name in a 3MF file.
    ///
    /// # Source
    /// 3MF core specification 1.4, section 3.4 (check-values 3.1).
    pub fn name(self) -> &'static str {
        match self {
            Self::Micron => "micron",
            Self::Millimetre => "millimeter",
            Self::Centimetre => "centimeter",
            Self::Inch => "inch",
            Self::Foot => "foot",
            Self::Metre => "meter",
        }
    }

    /// The unit with this 3MF name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|unit| unit.name() == name)
    }

    /// The common symbol: um, mm, cm, in, ft, m.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Micron => "um",
            Self::Millimetre => "mm",
            Self::Centimetre => "cm",
            Self::Inch => "in",
            Self::Foot => "ft",
            Self::Metre => "m",
        }
    }

    /// Its length in millimetres.
    pub fn millimetres(self) -> f64 {
        match self {
            Self::Micron => 0.001,
            Self::Millimetre => 1.0,
            Self::Centimetre => 10.0,
            Self::Inch => 25.4,
            Self::Foot => 304.8,
            Self::Metre => 1000.0,
        }
    }
}
