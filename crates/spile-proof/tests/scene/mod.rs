//! A small invented job with a part made by hand: a noisy tube with two walls,
//! cut at the top and joined to a tube by straight rows, cut plain at the bottom.
//! Turned and moved in space, so that no plane is parallel to an axis.

use spile_case::{Case, Cut, End, EndLimits, Fitting, Form, Limits, Place, Scan, Seam, Site, Unit};
use spile_mesh::{DVec3, Mesh, round_to_f32};

/// Columns round the tube.
pub const COLUMNS: usize = 48;
/// Radii of the scan and of the fitting.
pub const BORE: f64 = 9.0;
pub const OUTSIDE: f64 = 11.0;
/// Heights along the tube's own axis.
pub const LOWER_CUT: f64 = 5.0;
pub const UPPER_CUT: f64 = 30.0;
pub const NEAR_FACE: f64 = 42.0;
pub const LENGTH: f64 = 25.0;
pub const REACH: f64 = 8.0;

/// What is made otherwise than it should be; all zero is a good part.
#[derive(Clone, Copy)]
pub struct Recipe {
    /// Seam of the upper end this much above the plane.
    pub seam_lift: f64,
    /// The first new row on the bore pushed outward by this much, at one column.
    pub bump: f64,
    /// The fitting moved by this, in the tube's own frame.
    pub fitting_shift: DVec3,
    /// Factor on the radius of the fitting's bore polygon.
    pub fitting_bore_scale: f64,
    /// The joint's first row on the bore pushed outward by this much.
    pub joint_bulge: f64,
    /// Height of the joint's first row over the seam.
    pub first_row: f64,
    /// Pieces at the plain end pushed outward by this much at one column.
    pub plain_push: f64,
    /// The fitting's length.
    pub length: f64,
    /// Instead of a tube, for bore and outside: height over the near face and
    /// radius of each ring of the fitting, the one at the near face first. The
    /// polygons get the circle's area.
    pub rings: Option<[&'static [(f64, f64)]; 2]>,
}

impl Default for Recipe {
    fn default() -> Self {
        Self {
            seam_lift: 0.0,
            bump: 0.0,
            fitting_shift: DVec3::ZERO,
            fitting_bore_scale: 1.0,
            joint_bulge: 0.0,
            first_row: 2.0,
            plain_push: 0.0,
            length: LENGTH,
            rings: None,
        }
    }
}

/// Scan, part and settled case.
#[derive(Clone)]
pub struct Scene {
    pub scan: Mesh,
    pub part: Mesh,
    pub case: Case,
}

/// From the tube's own frame into space: a turn and a shift, then `f32`.
pub fn place(p: DVec3) -> DVec3 {
    round_to_f32(turn(p) + DVec3::new(3.0, -7.0, 12.0))
}

/// The turn alone: about z by 20 degrees, then about x by 35.
pub fn turn(p: DVec3) -> DVec3 {
    let (s, c) = 20.0_f64.to_radians().sin_cos();
    let q = DVec3::new(c * p.x - s * p.y, s * p.x + c * p.y, p.z);
    let (s, c) = 35.0_f64.to_radians().sin_cos();
    DVec3::new(q.x, c * q.y - s * q.z, s * q.y + c * q.z)
}

#[derive(Default)]
pub struct Builder {
    pub points: Vec<DVec3>,
    pub triangles: Vec<[u32; 3]>,
}

impl Builder {
    pub fn row(&mut self, points: impl IntoIterator<Item = DVec3>) -> Vec<u32> {
        points
            .into_iter()
            .map(|p| {
                self.points.push(place(p));
                self.points.len() as u32 - 1
            })
            .collect()
    }

    pub fn triangle(&mut self, outward: bool, [a, b, c]: [u32; 3]) {
        self.triangles.push(if outward { [a, b, c] } else { [a, c, b] });
    }

    /// Two triangles a column between a lower and an upper row of equal length.
    pub fn strip(&mut self, outward: bool, lower: &[u32], upper: &[u32]) {
        for i in 0..lower.len() {
            let j = (i + 1) % lower.len();
            self.triangle(outward, [lower[i], lower[j], upper[j]]);
            self.triangle(outward, [lower[i], upper[j], upper[i]]);
        }
    }

    pub fn mesh(self) -> Mesh {
        Mesh::new(self.points, self.triangles).expect("the builder names its own points")
    }
}

/// A small repeatable number from -1 to 1.
fn noise(i: usize, j: usize, wall: usize) -> f64 {
    let mut x = (i * 7919 + j * 104_729 + wall * 1_299_709) as u64;
    x = x.wrapping_mul(0x9E37_79B9_7F4A_7C15);
    x ^= x >> 29;
    x = x.wrapping_mul(0xBF58_476D_1CE4_E5B9);
    (x >> 40) as f64 / (1_u64 << 23) as f64 - 1.0
}

fn at(radius: f64, column: usize, height: f64) -> DVec3 {
    let a = std::f64::consts::TAU * column as f64 / COLUMNS as f64;
    DVec3::new(radius * a.cos(), radius * a.sin(), height)
}

/// Rows of the scan's walls: 0.3, 2.3, ... 40.3.
pub fn row_height(j: usize) -> f64 {
    2.0 * j as f64 + 0.3
}

fn wall_radius(wall: usize) -> f64 {
    if wall == 0 { BORE } else { OUTSIDE }
}

fn scan_point(wall: usize, j: usize, i: usize) -> DVec3 {
    let i = i % COLUMNS;
    at(wall_radius(wall) + 0.02 * noise(i, j, wall), i, row_height(j))
}

/// The scan: inner and outer wall, open at both ends.
pub fn scan() -> Mesh {
    let mut b = Builder::default();
    for wall in [0, 1] {
        let rows: Vec<Vec<u32>> =
            (0..=20).map(|j| b.row((0..COLUMNS).map(|i| scan_point(wall, j, i)))).collect();
        for pair in rows.windows(2) {
            b.strip(wall == 1, &pair[0], &pair[1]);
        }
    }
    b.mesh()
}

/// The scan's walls as meshes of their own: inner, outer.
pub fn walls() -> [Mesh; 2] {
    [0, 1].map(|wall| {
        let mut b = Builder::default();
        let rows: Vec<Vec<u32>> =
            (0..=20).map(|j| b.row((0..COLUMNS).map(|i| scan_point(wall, j, i)))).collect();
        for pair in rows.windows(2) {
            b.strip(wall == 1, &pair[0], &pair[1]);
        }
        b.mesh()
    })
}

/// The same job where the scan is the bore alone and the outside is made.
pub fn bore_scene(recipe: Recipe) -> Scene {
    let mut b = Builder::default();
    let (below, seam, far) = wall_of_part(&mut b, 0, recipe);
    let radius = area_true(OUTSIDE);
    let heights = [LOWER_CUT, 12.0, 20.0, 27.0, 33.0, 38.0, NEAR_FACE, NEAR_FACE + recipe.length];
    let rows: Vec<Vec<u32>> =
        heights.iter().map(|&h| b.row((0..COLUMNS).map(|i| at(radius, i, h)))).collect();
    for pair in rows.windows(2) {
        b.strip(true, &pair[0], &pair[1]);
    }
    for i in 0..COLUMNS {
        let j = (i + 1) % COLUMNS;
        let (v, d, w) = (below[2 * i], below[2 * i + 1], below[2 * j]);
        b.triangle(false, [rows[0][i], rows[0][j], d]);
        b.triangle(false, [rows[0][i], d, v]);
        b.triangle(false, [rows[0][j], w, d]);
    }
    b.strip(true, &rows[rows.len() - 1], &far);
    let coordinates = |l: &[u32]| l.iter().map(|&p| b.points[p as usize].to_array()).collect();
    let mut case = case(
        Seam { bore: coordinates(&seam), outside: Vec::new() },
        Seam { bore: coordinates(&below), outside: coordinates(&rows[0]) },
    );
    case.scan.form = Form::Bore;
    case.scan.wall = Some(spile_case::Wall::Even(OUTSIDE - BORE));
    let [inner, _] = walls();
    Scene { scan: inner, part: b.mesh(), case }
}

/// Radius of the polygon that has the circle's area.
pub fn area_true(radius: f64) -> f64 {
    let step = std::f64::consts::TAU / COLUMNS as f64;
    radius * (step / step.sin()).sqrt()
}

/// The whole scene after a recipe.
pub fn scene(recipe: Recipe) -> Scene {
    let mut b = Builder::default();
    let mut plain = Vec::new();
    let mut seams = Vec::new();
    let mut far = Vec::new();
    for wall in [0, 1] {
        let (loop_below, loop_above, far_row) = wall_of_part(&mut b, wall, recipe);
        plain.push(loop_below);
        seams.push(loop_above);
        far.push(far_row);
    }
    let n = plain[0].len();
    for i in 0..n {
        let j = (i + 1) % n;
        b.triangle(false, [plain[1][i], plain[1][j], plain[0][j]]);
        b.triangle(false, [plain[1][i], plain[0][j], plain[0][i]]);
    }
    b.strip(true, &far[1], &far[0]);
    let coordinates = |l: &Vec<u32>| l.iter().map(|&p| b.points[p as usize].to_array()).collect();
    let seam_of = |s: &[Vec<u32>]| Seam { bore: coordinates(&s[0]), outside: coordinates(&s[1]) };
    let case = case(seam_of(&seams), seam_of(&plain));
    Scene { scan: scan(), part: b.mesh(), case }
}

/// One wall of the part; gives the plain end's loop, the scan seam and the
/// fitting's far row.
fn wall_of_part(b: &mut Builder, wall: usize, r: Recipe) -> (Vec<u32>, Vec<u32>, Vec<u32>) {
    let outward = wall == 1;
    // Kept rows 3 (6.3) to 12 (24.3).
    let rows: Vec<Vec<u32>> =
        (3..=12).map(|j| b.row((0..COLUMNS).map(|i| scan_point(wall, j, i)))).collect();
    for pair in rows.windows(2) {
        b.strip(outward, &pair[0], &pair[1]);
    }
    // Pieces of the row of triangles that the lower plane crosses.
    let share = (LOWER_CUT - row_height(2)) / (row_height(3) - row_height(2));
    let cut = |i: usize, j: usize| scan_point(wall, 2, i).lerp(scan_point(wall, 3, j), share);
    let push = |i: usize| if i == 5 { 1.0 + r.plain_push / wall_radius(wall) } else { 1.0 };
    let flat = |p: DVec3, f: f64| DVec3::new(p.x * f, p.y * f, p.z);
    let below = b.row((0..2 * COLUMNS).map(|k| flat(cut(k / 2, k / 2 + k % 2), push(k))));
    for i in 0..COLUMNS {
        let j = (i + 1) % COLUMNS;
        let (v, d, w) = (below[2 * i], below[2 * i + 1], below[2 * j]);
        b.triangle(outward, [d, w, rows[0][j]]);
        b.triangle(outward, [v, d, rows[0][j]]);
        b.triangle(outward, [v, rows[0][j], rows[0][i]]);
    }
    // Replaced rows, smoothed to the plain radius, and the seam.
    let radius = wall_radius(wall);
    let bump = |i: usize| if wall == 0 && i == 7 { r.bump } else { 0.0 };
    let mut last = rows[rows.len() - 1].clone();
    for height in [26.3, 28.3, UPPER_CUT + r.seam_lift] {
        let extra = |i: usize| if height == 26.3 { bump(i) } else { 0.0 };
        let next = b.row((0..COLUMNS).map(|i| at(radius + extra(i), i, height)));
        b.strip(outward, &last, &next);
        last = next;
    }
    let seam = last.clone();
    let scale = if wall == 0 { r.fitting_bore_scale } else { 1.0 };
    let tube = [(0.0, radius), (r.length, radius)];
    let rings = r.rings.map_or(&tube[..], |rings| rings[wall]);
    let fitting_radius = area_true(rings[0].1) * scale;
    let bulge = if wall == 0 { r.joint_bulge } else { 0.0 };
    for (k, height) in [UPPER_CUT + r.first_row, 34.0, 36.0, 38.0, 40.0].into_iter().enumerate() {
        let share = (height - UPPER_CUT) / (NEAR_FACE - UPPER_CUT);
        let here = radius + share * (fitting_radius - radius) + if k == 0 { bulge } else { 0.0 };
        let next = b.row((0..COLUMNS).map(|i| at(here, i, height)));
        b.strip(outward, &last, &next);
        last = next;
    }
    for &(height, radius) in rings {
        let (height, radius) = (NEAR_FACE + height, area_true(radius) * scale);
        let next = b.row((0..COLUMNS).map(|i| at(radius, i, height) + r.fitting_shift));
        b.strip(outward, &last, &next);
        last = next;
    }
    (below, seam, last)
}

fn case(upper: Seam, lower: Seam) -> Case {
    let on_axis = |z: f64| (turn(DVec3::Z * z) + DVec3::new(3.0, -7.0, 12.0)).to_array();
    let axis = turn(DVec3::Z).to_array();
    let down = turn(-DVec3::Z).to_array();
    Case {
        name: None,
        unit: Unit::Millimetre,
        scan: Scan {
            files: vec!["scan.stl".into()],
            form: Form::Shell,
            wall: None,
            hole_max: Some(1.0),
            inherit: Vec::new(),
            outliers: spile_case::Outliers::Keep,
            align: None,
            moved: None,
        },
        ends: vec![
            End {
                name: "upper".into(),
                site: Site::Cut(Cut { through: on_axis(UPPER_CUT), facing: axis }),
                reach: Some(REACH),
                reach_is_auto: false,
                fitting: Some(Fitting::Tube {
                    bore: 2.0 * BORE,
                    outside: 2.0 * OUTSIDE,
                    length: LENGTH,
                    flange: None,
                }),
                place: Some(Place::At { at: on_axis(NEAR_FACE), along: axis }),
                pins: Vec::new(),
                limits: EndLimits::default(),
                seam: Some(upper),
            },
            End {
                seam: Some(lower),
                ..End::plain("lower", Site::Cut(Cut { through: on_axis(LOWER_CUT), facing: down }))
            },
        ],
        edge: None,
        joint: spile_case::JointGuide::default(),
        limits: Limits {
            deviation: 0.1,
            wall_min: None,
            bore_loss: None,
            kink_deg: Some(10.0),
            ball_min: None,
            chord: 0.03,
        },
        keeps: Vec::new(),
        clears: Vec::new(),
        output: spile_case::Output::default(),
        solids: Vec::new(),
        mends: Vec::new(),
    }
}
