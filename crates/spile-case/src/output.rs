//! What is told and written beside the part.

use crate::types::Vec3;

/// `[output]` of a case. None of it changes what is made or judged.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Output {
    /// Density of the material in g/cm^3, whatever the case's unit.
    pub density_g_cm3: Option<f64>,
    /// The way up when the part is printed, of length 1.
    pub build_direction: Option<Vec3>,
    /// What flows through the bore.
    pub flow: Option<Flow>,
    /// The kinds of file that are wanted, each once, in the order of [`FileKind::ALL`].
    pub files: Vec<FileKind>,
}

/// A fluid and how much of it flows, whatever the case's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flow {
    /// Flow rate in litres a minute.
    pub rate_l_min: f64,
    /// Density in kg/m^3.
    pub density_kg_m3: f64,
    /// Dynamic viscosity in Pa s.
    pub viscosity_pa_s: f64,
}

/// A kind of file that a run can write.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum FileKind {
    /// Binary STL; always written.
    Stl,
    /// 3MF; always written.
    ThreeMf,
    /// OBJ with named groups.
    Obj,
    /// PLY with values at each point.
    Ply,
    /// glTF in one binary file, with colours, in metres.
    Glb,
    /// STEP: the part as triangles, its fittings exactly.
    Step,
    /// Sections as SVG.
    Svg,
    /// Sections as DXF.
    Dxf,
    /// Stations and limits as tables.
    Csv,
}

impl FileKind {
    /// Every kind, in the order in which they are written.
    pub const ALL: [Self; 9] = [
        Self::Stl,
        Self::ThreeMf,
        Self::Obj,
        Self::Ply,
        Self::Glb,
        Self::Step,
        Self::Svg,
        Self::Dxf,
        Self::Csv,
    ];
}
