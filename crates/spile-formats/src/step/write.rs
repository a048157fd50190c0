//! Writing a part as STEP: its triangles as a tessellated solid, its fittings exactly.

use std::fmt::Write as _;
use std::io::Write;

use spile_mesh::{DVec3, Mesh, round_to_f32};

use crate::FileUnit;
use crate::error::WriteError;
use crate::part_info::{Groups, PartInfo};
use crate::pieces::Pieces;
use crate::stl::check_range;

/// A solid of revolution with exact faces.
#[derive(Debug, Clone, PartialEq)]
pub struct Revolved {
    /// Its name.
    pub name: String,
    /// A place on the axis.
    pub at: DVec3,
    /// Unit direction of the axis.
    pub along: DVec3,
    /// The corners of the area that is turned about the axis, in order round it: distance
    /// from the axis, above 0, and height over `at`.
    pub outline: Vec<[f64; 2]>,
}

/// Where a format demands a time, this one stands: outputs hold no clock time.
const TIME: &str = "1980-01-01T00:00:00";

const SCHEMA: &str = "AP242_MANAGED_MODEL_BASED_3D_ENGINEERING_MIM_LF { 1 0 10303 442 1 1 4 }";

/// Writes a part as STEP AP242: `mesh` as one tessellated solid with a triangulated face a
/// group, named as it, and each of `fittings` as a solid with exact planes, cylinders
/// and cones, in the same place. All are representations of one product.
///
/// Coordinates of the mesh are rounded to the nearest `f32` and written with the fewest digits that
/// give it back; those of fittings are `f64` likewise. The stated accuracy is the spacing of `f32` at the mesh's
/// size. Nothing is scaled: the file states the unit.
///
/// # Errors
/// A coordinate that does not fit `f32`, groups that do not fit the mesh, no triangle, a fitting that
/// is no solid of revolution, or what the writer refuses.
///
/// # Source
/// ISO 10303-21 and -42 as AP242 edition 1 uses them (check-values 3.6 to 3.8): a tessellated item stands only in a
/// tessellated shape representation, so that exact faces have one of their own.
pub fn write(
    mesh: &Mesh,
    groups: &Groups,
    fittings: &[Revolved],
    info: &PartInfo,
    mut to: impl Write,
) -> Result<(), WriteError> {
    check_range(mesh)?;
    groups.check(mesh, "STEP")?;
    check(mesh, fittings)?;
    let mut file = File { text: Pieces::new(&mut to), next: 1 };
    file.head(info)?;
    let frame = file.frame(info, spacing(mesh))?;
    let tessellated = file.tessellated(mesh, groups, &info.title)?;
    let shape = file.instance(format_args!(
        "TESSELLATED_SHAPE_REPRESENTATION({},(#{tessellated}),#{})",
        quoted(&info.title),
        frame.context
    ))?;
    file.belongs(&frame, shape)?;
    if !fittings.is_empty() {
        let mut items = format!("#{}", frame.origin);
        for fitting in fittings {
            let solid = file.revolved(fitting)?;
            // Writing to a string cannot fail.
            let _ = write!(items, ",#{solid}");
        }
        let shape = file.instance(format_args!(
            "ADVANCED_BREP_SHAPE_REPRESENTATION('fittings',({items}),#{})",
            frame.context
        ))?;
        file.belongs(&frame, shape)?;
    }
    file.text.push(format_args!("ENDSEC;\nEND-ISO-10303-21;\n"))?;
    file.text.finish()
}

fn check(mesh: &Mesh, fittings: &[Revolved]) -> Result<(), WriteError> {
    let unfit = |what: String| Err(WriteError::Unfit { format: "STEP", what });
    if mesh.triangles().is_empty() {
        return unfit("the mesh holds no triangle".to_owned());
    }
    for fitting in fittings {
        let outline = &fitting.outline;
        let pairs = || (0..outline.len()).map(|k| (outline[k], outline[(k + 1) % outline.len()]));
        let sound = outline.len() >= 3
            && outline.iter().all(|&[r, h]| r > 0.0 && r.is_finite() && h.is_finite())
            && pairs().all(|(a, b)| a != b)
            && (fitting.along.length() - 1.0).abs() < 1e-9
            && area(outline) != 0.0;
        if !sound {
            return unfit(format!("'{}' is no solid of revolution", fitting.name));
        }
    }
    Ok(())
}

/// The area within an outline, positive where it runs counter-clockwise with the distance
/// from the axis to the right and the height up.
fn area(outline: &[[f64; 2]]) -> f64 {
    let pairs = (0..outline.len()).map(|k| (outline[k], outline[(k + 1) % outline.len()]));
    0.5 * pairs.map(|([r, h], [s, k])| r * k - s * h).sum::<f64>()
}

/// The spacing of `f32` at the mesh's greatest coordinate.
fn spacing(mesh: &Mesh) -> f64 {
    let largest = mesh.points().iter().map(|p| p.abs().max_element()).fold(0.0, f64::max);
    f64::from(f32::EPSILON) * largest.max(f64::from(f32::MIN_POSITIVE))
}

/// Instances that all shapes refer to.
struct Frame {
    context: u64,
    /// The placement at the origin.
    origin: u64,
    /// The product's shape.
    shape: u64,
}

/// A file that is being written; instances are numbered as they come.
struct File<'a, W> {
    text: Pieces<'a, W>,
    next: u64,
}

impl<W: Write> File<'_, W> {
    /// Writes an instance and gives its number.
    fn instance(&mut self, what: std::fmt::Arguments<'_>) -> Result<u64, WriteError> {
        let number = self.next;
        self.next += 1;
        self.text.push(format_args!("#{number}={what};\n"))?;
        Ok(number)
    }

    fn head(&mut self, info: &PartInfo) -> Result<(), WriteError> {
        let lines: Vec<String> = info.description.lines().map(quoted).collect();
        let (name, by) = (quoted(&format!("{}.step", info.title)), quoted(&info.application));
        self.text.push(format_args!(
            "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION(({}),'2;1');\n\
             FILE_NAME({name},'{TIME}',(''),(''),{by},{by},'');\n\
             FILE_SCHEMA(('{SCHEMA}'));\nENDSEC;\nDATA;\n",
            lines.join(",")
        ))
    }

    /// Product, units and placement.
    fn frame(&mut self, info: &PartInfo, accuracy: f64) -> Result<Frame, WriteError> {
        let (title, about) = (quoted(&info.title), quoted(&info.description));
        let application = self
            .instance(format_args!("APPLICATION_CONTEXT('managed model based 3d engineering')"))?;
        self.instance(format_args!(
            "APPLICATION_PROTOCOL_DEFINITION('international standard',\
             'ap242_managed_model_based_3d_engineering',2014,#{application})"
        ))?;
        let of = self.instance(format_args!("PRODUCT_CONTEXT('',#{application},'mechanical')"))?;
        let product = self.instance(format_args!("PRODUCT({title},{title},{about},(#{of}))"))?;
        self.instance(format_args!("PRODUCT_RELATED_PRODUCT_CATEGORY('part',$,(#{product}))"))?;
        let formation =
            self.instance(format_args!("PRODUCT_DEFINITION_FORMATION('','',#{product})"))?;
        let stage = self.instance(format_args!(
            "PRODUCT_DEFINITION_CONTEXT('part definition',#{application},'design')"
        ))?;
        let definition =
            self.instance(format_args!("PRODUCT_DEFINITION('design','',#{formation},#{stage})"))?;
        let defined =
            self.instance(format_args!("PRODUCT_DEFINITION_SHAPE('','',#{definition})"))?;
        let length = self.length_unit(info.unit)?;
        let angle =
            self.instance(format_args!("(NAMED_UNIT(*)PLANE_ANGLE_UNIT()SI_UNIT($,.RADIAN.))"))?;
        let solid_angle =
            self.instance(format_args!("(NAMED_UNIT(*)SI_UNIT($,.STERADIAN.)SOLID_ANGLE_UNIT())"))?;
        let accuracy = self.instance(format_args!(
            "UNCERTAINTY_MEASURE_WITH_UNIT(LENGTH_MEASURE({}),#{length},'distance_accuracy_value',\
             'spacing of the coordinates')",
            real(accuracy)
        ))?;
        let context = self.instance(format_args!(
            "(GEOMETRIC_REPRESENTATION_CONTEXT(3)\
             GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT((#{accuracy}))\
             GLOBAL_UNIT_ASSIGNED_CONTEXT((#{length},#{angle},#{solid_angle}))\
             REPRESENTATION_CONTEXT({title},'3D'))"
        ))?;
        let origin = self.placement(DVec3::ZERO, DVec3::Z, DVec3::X)?;
        let shape =
            self.instance(format_args!("SHAPE_REPRESENTATION({title},(#{origin}),#{context})"))?;
        self.instance(format_args!("SHAPE_DEFINITION_REPRESENTATION(#{defined},#{shape})"))?;
        Ok(Frame { context, origin, shape })
    }

    fn length_unit(&mut self, unit: FileUnit) -> Result<u64, WriteError> {
        let prefix = match unit {
            FileUnit::Micron => ".MICRO.",
            FileUnit::Millimetre => ".MILLI.",
            FileUnit::Centimetre => ".CENTI.",
            FileUnit::Metre => "$",
            FileUnit::Inch | FileUnit::Foot => return self.converted_unit(unit),
        };
        self.instance(format_args!("(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT({prefix},.METRE.))"))
    }

    /// A unit that is told by another.
    fn converted_unit(&mut self, unit: FileUnit) -> Result<u64, WriteError> {
        let millimetre =
            self.instance(format_args!("(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.))"))?;
        let measure = self.instance(format_args!(
            "LENGTH_MEASURE_WITH_UNIT(LENGTH_MEASURE({}),#{millimetre})",
            real(unit.millimetres())
        ))?;
        let exponents =
            self.instance(format_args!("DIMENSIONAL_EXPONENTS(1.,0.,0.,0.,0.,0.,0.)"))?;
        let name = unit.name().to_ascii_uppercase();
        self.instance(format_args!(
            "(CONVERSION_BASED_UNIT('{name}',#{measure})LENGTH_UNIT()NAMED_UNIT(#{exponents}))"
        ))
    }

    /// Makes a representation one of the product's.
    fn belongs(&mut self, frame: &Frame, shape: u64) -> Result<(), WriteError> {
        let of = frame.shape;
        self.instance(format_args!("SHAPE_REPRESENTATION_RELATIONSHIP('','',#{of},#{shape})"))?;
        Ok(())
    }

    fn tessellated(
        &mut self,
        mesh: &Mesh,
        groups: &Groups,
        title: &str,
    ) -> Result<u64, WriteError> {
        let count = mesh.points().len();
        let list = self.next;
        self.next += 1;
        self.text.push(format_args!("#{list}=COORDINATES_LIST('',{count},("))?;
        for (k, &point) in mesh.points().iter().enumerate() {
            let [x, y, z] = round_to_f32(point).as_vec3().to_array().map(real);
            let comma = if k == 0 { "" } else { ",\n" };
            self.text.push(format_args!("{comma}({x},{y},{z})"))?;
        }
        self.text.push(format_args!("));\n"))?;
        let mut faces: Vec<String> = Vec::new();
        for (k, group) in groups.groups.iter().enumerate() {
            let triangles: Vec<[u32; 3]> =
                groups.triangles(k).map(|t| mesh.triangles()[t]).collect();
            if !triangles.is_empty() {
                let face = self.triangulated_face(&triangles, &group.name, list)?;
                faces.push(format!("#{face}"));
            }
        }
        let (title, faces) = (quoted(title), faces.join(","));
        self.instance(format_args!("TESSELLATED_SOLID({title},({faces}),$)"))
    }

    fn triangulated_face(
        &mut self,
        triangles: &[[u32; 3]],
        name: &str,
        list: u64,
    ) -> Result<u64, WriteError> {
        let mut used: Vec<u32> = triangles.iter().flatten().copied().collect();
        used.sort_unstable();
        used.dedup();
        let number = self.next;
        self.next += 1;
        let name = quoted(name);
        self.text.push(format_args!(
            "#{number}=TRIANGULATED_FACE({name},#{list},{},(),$,(",
            used.len()
        ))?;
        // Lines of bounded length, for those who look into the file.
        for (k, v) in used.iter().enumerate() {
            let comma = if k == 0 {
                ""
            } else if k % 16 == 0 {
                ",\n"
            } else {
                ","
            };
            self.text.push(format_args!("{comma}{}", u64::from(*v) + 1))?;
        }
        self.text.push(format_args!("),("))?;
        for (k, t) in triangles.iter().enumerate() {
            let comma = if k == 0 { "" } else { ",\n" };
            // Every corner is among those used.
            let [a, b, c] = t.map(|v| used.partition_point(|&u| u < v) + 1);
            self.text.push(format_args!("{comma}({a},{b},{c})"))?;
        }
        self.text.push(format_args!("));\n"))?;
        Ok(number)
    }

    fn point(&mut self, p: DVec3) -> Result<u64, WriteError> {
        self.instance(format_args!("CARTESIAN_POINT('',{})", triple(p)))
    }

    fn direction(&mut self, d: DVec3) -> Result<u64, WriteError> {
        self.instance(format_args!("DIRECTION('',{})", triple(d)))
    }

    fn placement(&mut self, at: DVec3, axis: DVec3, across: DVec3) -> Result<u64, WriteError> {
        let (at, axis, across) = (self.point(at)?, self.direction(axis)?, self.direction(across)?);
        self.instance(format_args!("AXIS2_PLACEMENT_3D('',#{at},#{axis},#{across})"))
    }

    /// A solid of revolution. Each corner of the outline makes a circle, each side a face
    /// between two of them; every circle bounds the side after it forward and the side before
    /// it backward, so the shell closes.
    fn revolved(&mut self, fitting: &Revolved) -> Result<u64, WriteError> {
        let mut outline = fitting.outline.clone();
        if area(&outline) < 0.0 {
            outline.reverse();
        }
        let across = fitting.along.any_orthonormal_vector();
        let turn = Turn { at: fitting.at, along: fitting.along, across };
        let circles = outline
            .iter()
            .map(|&corner| self.circle(turn, corner))
            .collect::<Result<Vec<Circle>, _>>()?;
        let mut faces: Vec<String> = Vec::new();
        for (k, from) in circles.iter().enumerate() {
            let to = &circles[(k + 1) % circles.len()];
            let face = if from.height == to.height {
                self.flat_face(turn, from, to)?
            } else {
                self.round_face(turn, from, to)?
            };
            faces.push(format!("#{face}"));
        }
        let shell = self.instance(format_args!("CLOSED_SHELL('',({}))", faces.join(",")))?;
        let name = quoted(&fitting.name);
        self.instance(format_args!("MANIFOLD_SOLID_BREP({name},#{shell})"))
    }

    fn circle(&mut self, turn: Turn, [radius, height]: [f64; 2]) -> Result<Circle, WriteError> {
        let centre = turn.at + height * turn.along;
        let place = centre + radius * turn.across;
        let point = self.point(place)?;
        let vertex = self.instance(format_args!("VERTEX_POINT('',#{point})"))?;
        let frame = self.placement(centre, turn.along, turn.across)?;
        let curve = self.instance(format_args!("CIRCLE('',#{frame},{})", real(radius)))?;
        let edge =
            self.instance(format_args!("EDGE_CURVE('',#{vertex},#{vertex},#{curve},.T.)"))?;
        Ok(Circle { radius, height, centre, place, vertex, edge })
    }

    fn oriented(&mut self, edge: u64, forward: bool) -> Result<u64, WriteError> {
        self.instance(format_args!("ORIENTED_EDGE('',*,*,#{edge},{})", truth(forward)))
    }

    fn bound(&mut self, edges: &[u64], outer: bool) -> Result<u64, WriteError> {
        let edges: Vec<String> = edges.iter().map(|e| format!("#{e}")).collect();
        let chain = self.instance(format_args!("EDGE_LOOP('',({}))", edges.join(",")))?;
        let kind = if outer { "FACE_OUTER_BOUND" } else { "FACE_BOUND" };
        self.instance(format_args!("{kind}('',#{chain},.T.)"))
    }

    /// A ring at one height.
    fn flat_face(&mut self, turn: Turn, from: &Circle, to: &Circle) -> Result<u64, WriteError> {
        let frame = self.placement(from.centre, turn.along, turn.across)?;
        let plane = self.instance(format_args!("PLANE('',#{frame})"))?;
        let mut bounds = [0; 2];
        for (bound, (circle, forward, outer)) in bounds
            .iter_mut()
            .zip([(from, true, from.radius > to.radius), (to, false, to.radius > from.radius)])
        {
            let edge = self.oriented(circle.edge, forward)?;
            *bound = self.bound(&[edge], outer)?;
        }
        let [a, b] = bounds;
        // Where the outline runs inward, the material is below.
        let same = truth(to.radius < from.radius);
        self.instance(format_args!("ADVANCED_FACE('',(#{a},#{b}),#{plane},{same})"))
    }

    /// A cylinder or cone between two heights, cut open along a straight line.
    fn round_face(&mut self, turn: Turn, from: &Circle, to: &Circle) -> Result<u64, WriteError> {
        let way = to.place - from.place;
        let direction = self.direction(way.normalize())?;
        let vector = self.instance(format_args!("VECTOR('',#{direction},1.)"))?;
        let point = self.point(from.place)?;
        let line = self.instance(format_args!("LINE('',#{point},#{vector})"))?;
        let seam = self
            .instance(format_args!("EDGE_CURVE('',#{},#{},#{line},.T.)", from.vertex, to.vertex))?;
        let edges = [(from.edge, true), (seam, true), (to.edge, false), (seam, false)];
        let mut chain = [0; 4];
        for (oriented, (edge, forward)) in chain.iter_mut().zip(edges) {
            *oriented = self.oriented(edge, forward)?;
        }
        let bound = self.bound(&chain, true)?;
        let surface = if from.radius == to.radius {
            let frame = self.placement(from.centre, turn.along, turn.across)?;
            self.instance(format_args!("CYLINDRICAL_SURFACE('',#{frame},{})", real(from.radius)))?
        } else {
            // A cone is told from where it is narrow, along the way in which it widens.
            let (narrow, wide) = if from.radius < to.radius { (from, to) } else { (to, from) };
            let rise = wide.height - narrow.height;
            let angle = ((wide.radius - narrow.radius) / rise.abs()).atan();
            let frame = self.placement(narrow.centre, rise.signum() * turn.along, turn.across)?;
            self.instance(format_args!(
                "CONICAL_SURFACE('',#{frame},{},{})",
                real(narrow.radius),
                real(angle)
            ))?
        };
        // Where the outline rises, the material lies toward the axis.
        let same = truth(to.height > from.height);
        self.instance(format_args!("ADVANCED_FACE('',(#{bound}),#{surface},{same})"))
    }
}

/// What an outline is turned about, and where it lies.
#[derive(Clone, Copy)]
struct Turn {
    at: DVec3,
    along: DVec3,
    /// Unit direction from the axis to the outline.
    across: DVec3,
}

/// The circle of one corner of an outline.
struct Circle {
    radius: f64,
    height: f64,
    centre: DVec3,
    /// Where the outline meets it.
    place: DVec3,
    vertex: u64,
    edge: u64,
}

fn truth(is: bool) -> &'static str {
    if is { ".T." } else { ".F." }
}

fn triple(p: DVec3) -> String {
    let [x, y, z] = p.to_array().map(real);
    format!("({x},{y},{z})")
}

/// A number with its decimal point, in the fewest digits that read back the same.
fn real(x: impl std::fmt::Display) -> String {
    let mut text = x.to_string();
    if !text.contains('.') {
        text.push('.');
    }
    text
}

/// Text in quotes: apostrophes and backslashes doubled, other than ASCII as ISO 10303-21
/// writes UTF-16, and control characters as blanks.
fn quoted(text: &str) -> String {
    let mut out = String::from("'");
    for c in text.chars() {
        match c {
            '\'' => out.push_str("''"),
            '\\' => out.push_str("\\\\"),
            ' '..='~' => out.push(c),
            _ if c.is_control() => out.push(' '),
            _ => {
                out.push_str("\\X2\\");
                for unit in c.encode_utf16(&mut [0; 2]) {
                    // Writing to a string cannot fail.
                    let _ = write!(out, "{unit:04X}");
                }
                out.push_str("\\X0\\");
            }
        }
    }
    out.push('\'');
    out
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]
mod tests;
