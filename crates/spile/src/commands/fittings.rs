//! `fittings`: what can be joined, and on whose word its dimensions stand; and the
//! same of a case's own fittings, for its proof.

use std::fmt::Write as _;

use serde::Serialize;
use spile_case::{Case, Cone, ConeSize, End, Fitting, Gender, Solid, SolidKind, Unit};
use spile_page::messages::{FittingShown, SizeShown};

use crate::answer::Answer;
use crate::exit::Ending;

/// One kind of fitting.
#[derive(Debug, Clone, Serialize)]
struct FittingKind {
    kind: &'static str,
    shape: &'static str,
    dimensions: Vec<Dimension>,
    sizes: Vec<Size>,
    source: &'static str,
    standing: &'static str,
    example: &'static str,
}

/// One dimension that the case gives.
#[derive(Debug, Clone, Copy, Serialize)]
struct Dimension {
    key: &'static str,
    meaning: &'static str,
}

/// One standard size of a cone or socket, in millimetres.
#[derive(Debug, Clone, Copy, Serialize)]
struct Size {
    size: &'static str,
    basic_diameter_mm: f64,
    /// From the free end.
    basic_plane_mm: f64,
    /// Change of the diameter over the length.
    taper: f64,
    half_angle_deg: f64,
    taper_length_mm: f64,
    free_end_mm: f64,
    other_end_mm: f64,
    source: &'static str,
    standing: &'static str,
}

const FLANGE: Dimension = Dimension {
    key: "flange",
    meaning: "a flat ring round it, if wanted: `outside`, `thickness` and `at`, its distance from the near face",
};

const OF_CONES: &[Dimension] = &[
    Dimension { key: "size", meaning: "one of the sizes below" },
    Dimension { key: "length", meaning: "length along the axis; that of the taper if left out" },
    Dimension {
        key: "allowance",
        meaning: "clearance on the diameter for the printing process; 0 if left out. Above 0 a cone gets smaller and a socket larger",
    },
    FLANGE,
];

const RIM: &str = "a point in the file's coordinates: the round rim nearest it is joined; may be left out where there is one, and with `place = \"as-modelled\"`";

const CONES_SOURCE: &str = "see each size; the other side's diameter is the case's own";
const CONES_STANDING: &str = "drawn to the basic dimensions; not gauged: check the made part with the standard's gauges before use";

fn kinds() -> Vec<FittingKind> {
    let of_cones = |other| [&[other], OF_CONES].concat();
    vec![
        FittingKind {
            kind: "tube",
            shape: "two coaxial cylinders between two flat faces",
            dimensions: vec![
                Dimension { key: "bore", meaning: "inner diameter" },
                Dimension { key: "outside", meaning: "outer diameter" },
                Dimension { key: "length", meaning: "length along the axis" },
                FLANGE,
            ],
            sizes: Vec::new(),
            source: "closed form; the dimensions are the case's own",
            standing: "exact within `chord`; no standard is claimed",
            example: "fitting = { kind = \"tube\", bore = 18.0, outside = 22.0, length = 25.0 }",
        },
        FittingKind {
            kind: "cone",
            shape: "male: the outside tapers toward the free end and follows from the size; the bore is a cylinder",
            dimensions: of_cones(Dimension { key: "bore", meaning: "inner diameter" }),
            sizes: sizes(Gender::Male),
            source: CONES_SOURCE,
            standing: CONES_STANDING,
            example: "fitting = { kind = \"cone\", size = \"breathing-22\", bore = 18.0 }",
        },
        FittingKind {
            kind: "socket",
            shape: "female: the bore widens toward the free end and follows from the size; the outside is a cylinder",
            dimensions: of_cones(Dimension { key: "outside", meaning: "outer diameter" }),
            sizes: sizes(Gender::Female),
            source: CONES_SOURCE,
            standing: CONES_STANDING,
            example: "fitting = { kind = \"socket\", size = \"breathing-15\", outside = 20.0, allowance = 0.1 }",
        },
        FittingKind {
            kind: "mesh",
            shape: "the closed solid in a mesh file, joined at one of its round rims; `spile fittings FILE` lists them",
            dimensions: vec![
                Dimension { key: "file", meaning: "STL, PLY, OBJ or 3MF, from the case's folder" },
                Dimension { key: "unit", meaning: "the file's own unit; the case's if left out" },
                Dimension { key: "rim", meaning: RIM },
            ],
            sizes: Vec::new(),
            source: "the file",
            standing: "every triangle but the joined end face comes out corner for corner; no standard is claimed",
            example: "fitting = { kind = \"mesh\", file = \"socket.stl\", unit = \"mm\", rim = [0.0, 0.0, 0.0] }",
        },
        FittingKind {
            kind: "step",
            shape: "the one solid in a STEP file, of planes, cylinders, cones, spheres and tori, joined at one of its round rims; `spile fittings FILE` lists them",
            dimensions: vec![
                Dimension { key: "file", meaning: "STEP, from the case's folder" },
                Dimension {
                    key: "unit",
                    meaning: "the unit that the file states, by which its lengths are converted; may be left out",
                },
                Dimension { key: "rim", meaning: RIM },
            ],
            sizes: Vec::new(),
            source: "the file",
            standing: "exact within `chord`, its rims' circles in area, too; no standard is claimed",
            example: "fitting = { kind = \"step\", file = \"nozzle.step\" }",
        },
    ]
}

fn sizes(gender: Gender) -> Vec<Size> {
    // To the nearest millionth of a millimetre, which is what the sums are good for.
    let rounded = |x: f64| (x * 1e6).round() / 1e6;
    let size_of = |size: ConeSize| {
        let d = size.dimensions(gender);
        let cone =
            Cone { size, gender, other: 0.0, length: d.length_mm, allowance: 0.0, flange: None };
        let [free_end, other_end] = cone.ends_in(Unit::Millimetre);
        Size {
            size: size.name(),
            basic_diameter_mm: d.diameter_mm,
            basic_plane_mm: d.plane_mm,
            taper: rounded(1.0 / d.taper_length),
            half_angle_deg: rounded((0.5 / d.taper_length).atan().to_degrees()),
            taper_length_mm: d.length_mm,
            free_end_mm: rounded(free_end),
            other_end_mm: rounded(other_end),
            source: d.source,
            standing: d.standing,
        }
    };
    [ConeSize::Breathing15, ConeSize::Breathing22, ConeSize::Luer].map(size_of).to_vec()
}

/// The same for the page.
pub(crate) fn fittings_shown() -> Vec<FittingShown> {
    let size = |size: Size| SizeShown {
        size: size.size.to_owned(),
        basic_diameter_mm: size.basic_diameter_mm,
        taper_length_mm: size.taper_length_mm,
        source: size.source.to_owned(),
        standing: size.standing.to_owned(),
    };
    let kind = |kind: FittingKind| FittingShown {
        kind: kind.kind.to_owned(),
        shape: kind.shape.to_owned(),
        sizes: kind.sizes.into_iter().map(size).collect(),
        source: kind.source.to_owned(),
        standing: kind.standing.to_owned(),
    };
    kinds().into_iter().map(kind).collect()
}

#[derive(Serialize)]
struct Document {
    fittings: Vec<FittingKind>,
}

/// Lists the known fittings.
pub(crate) fn fittings() -> Answer {
    let fittings = kinds();
    let mut text = String::new();
    for kind in &fittings {
        let _ = writeln!(text, "{}: {}", kind.kind, kind.shape);
        for dimension in &kind.dimensions {
            let _ = writeln!(text, "  {:<9} {}", dimension.key, dimension.meaning);
        }
        for size in &kind.sizes {
            write_size(&mut text, size);
        }
        let _ = writeln!(text, "  source:   {}", kind.source);
        let _ = writeln!(text, "  standing: {}", kind.standing);
        let _ = writeln!(text, "  example:  {}", kind.example);
    }
    Answer::new(Ending::Held, text, &Document { fittings })
}

fn write_size(text: &mut String, size: &Size) {
    let Size { basic_diameter_mm: diameter, basic_plane_mm: plane, half_angle_deg, .. } = size;
    let _ = writeln!(
        text,
        "  - {}, in mm: {diameter} across in the basic plane, {plane} from the free end; taper 1 : {:.4} on the \
         diameter over {}, half angle {half_angle_deg:.4} degrees; {:.4} at the free end, {:.4} at the taper's other end",
        size.size,
        1.0 / size.taper,
        size.taper_length_mm,
        size.free_end_mm,
        size.other_end_mm,
    );
    let _ = writeln!(text, "      source:   {}", size.source);
    let _ = writeln!(text, "      standing: {}", size.standing);
}

/// What a person must know of each standard cone and socket, and of each STEP file, of a case.
pub(crate) fn standings(case: &Case) -> Vec<String> {
    let of_end = |end: &End| {
        let cone = match end.fitting? {
            Fitting::Cone(cone) => cone,
            Fitting::Mesh(mesh) => return of_step(case, end, case.solids.get(mesh.solid)?),
            Fitting::Tube { .. } => return None,
        };
        let (kind, size) = (cone.gender.name(), cone.size.name());
        Some(format!(
            "end `{}`: the {kind} {size} is drawn to provisional basic dimensions with an allowance of {} {} on the \
             diameter, and is not gauged; `spile fittings` tells where they come from",
            end.name,
            cone.allowance,
            case.unit.name(),
        ))
    };
    case.ends.iter().filter_map(of_end).collect()
}

/// What was made of a fitting's STEP file.
fn of_step(case: &Case, end: &End, solid: &Solid) -> Option<String> {
    let (SolidKind::Step, Some(unit)) = (solid.kind, solid.unit) else { return None };
    let (file, name, scale) = (&solid.file, &end.name, solid.scale(case.unit));
    let lengths = match unit == case.unit {
        true => format!("states {} as its unit, as the case does", unit.name()),
        false => {
            format!("states {} as its unit: its lengths were multiplied by {scale}", unit.name())
        }
    };
    let shape = match &solid.exact {
        Some(exact) => format!(
            "{} triangles stand for its {} exact faces",
            solid.triangles.len(),
            exact.solid.faces.len()
        ),
        None => format!("its {} triangles were taken as they are", solid.triangles.len()),
    };
    Some(format!("end `{name}`: {file} {lengths}; {shape}"))
}

#[cfg(test)]
mod tests {
    #[test]
    fn every_example_reads_in_a_case() {
        for kind in super::kinds() {
            let case = format!(
                "unit = \"mm\"\nscan = {{ file = \"a.stl\", form = \"shell\" }}\n\
                 limits = {{ deviation = 0.1 }}\n[[end]]\nname = \"a\"\nrim = [0, 0, 0]\n\
                 reach = 5\nplace = {{ gap = 5 }}\n{}\n",
                kind.example
            );
            assert!(spile_case::read_case(&case, "case.toml").is_ok(), "{case}");
        }
    }
}
