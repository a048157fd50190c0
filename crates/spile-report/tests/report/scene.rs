//! A short round tube with a proof that was written by hand, so that no change of
//! what makes or judges parts shows here.

use std::f64::consts::TAU;

use spile_case::{Case, read_case};
use spile_mesh::{DVec3, Mesh};
use spile_proof::measures::{
    BallAlong, Bulk, ClosedVoid, Deviation, Extreme, Figure, FlowLine, Histogram, LineStation,
    Measures, On, Opens, Overhang, Percentile, Pocket, Pockets, PressureLoss, SeamAngles, Section,
    Stop, Thickness, VertexMap,
};
use spile_proof::{
    Changed, Conflict, EndStations, Fate, KnownBy, LimitResult, MendRecord, PartFigures, PartLabel,
    PartLabels, Region, Side, Station, Verdict, Wanted, WantedValue,
};
use spile_report::{Detail, Document, Evidence, FileRecord, document};

/// The case, with what a page must not take for markup.
pub const CASE: &str = r#"unit = "mm"
[scan]
file = "tube.stl"
form = "shell"

[[end]]
name = "upper"
cut = { through = [0, 0, 20], facing = [0, 0, 1] }
reach = 10
fitting = { kind = "tube", bore = 8, outside = 10, length = 6 }
place = { at = [0, 0, 24], along = [0, 0, 1] }
seam = { bore = [[4, 0, 20], [0, 4, 20], [-4, 0, 20]], outside = [[5, 0, 20], [0, 5, 20], [-5, 0, 20]] }

[limits]
deviation = 0.1
wall_min = 1.0

[output]
density = 1.1
build_direction = [0, 0, 1]
flow = { rate_l_min = 15, density_kg_m3 = 1.2, viscosity_pa_s = 1.8e-5 }
"#;

/// All that an [`Evidence`] borrows.
pub struct Scene {
    pub case: Case,
    pub limits: Vec<LimitResult>,
    pub conflicts: Vec<Conflict>,
    pub mends: Vec<MendRecord>,
    pub ends: Vec<EndStations>,
    pub files: Vec<FileRecord>,
    pub notes: Vec<String>,
    pub scan: Vec<Mesh>,
    pub part: Mesh,
    pub labels: PartLabels,
    pub measures: Measures,
    pub verdict: Verdict,
}

/// A tube with these radii and heights, closed at both ends.
fn tube([inner, outer]: [f64; 2], [low, high]: [f64; 2]) -> Mesh {
    let count = 48_u32;
    let ring = |radius: f64, z: f64| {
        (0..count).map(move |k| {
            let turn = TAU * f64::from(k) / f64::from(count);
            DVec3::new(radius * turn.cos(), radius * turn.sin(), z)
        })
    };
    let points = ring(outer, low)
        .chain(ring(outer, high))
        .chain(ring(inner, high))
        .chain(ring(inner, low))
        .collect();
    let mut triangles = Vec::new();
    for part in 0..4 {
        let (a, b) = (part * count, (part + 1) % 4 * count);
        for k in 0..count {
            let next = (k + 1) % count;
            triangles.push([a + k, a + next, b + next]);
            triangles.push([a + k, b + next, b + k]);
        }
    }
    Mesh::new(points, triangles).unwrap()
}

/// A part that holds, one row not asked.
pub fn held() -> Scene {
    let upper = Some("upper");
    let at = DVec3::new(4.0, 0.5, 21.25);
    let limits = vec![
        LimitResult::plain("closed", None, Verdict::Held, "every edge has two triangles"),
        LimitResult::at_most("deviation", upper, Some(0.1), [0.0411, 0.0412], at, "certified"),
        LimitResult::at_least("wall_min", upper, Some(1.0), [1.2412, 1.2414], at, "shortest"),
        LimitResult::at_most("kink", upper, None, [7.25, 7.25], at, "at the seam"),
    ];
    let station = |k: u32| Station {
        s: f64::from(k) - 4.0,
        at: [0.0, 0.0, 16.0 + f64::from(k)],
        normal: [0.0, 0.0, 1.0],
        area_scan: (k < 5).then_some(50.0),
        area_part: Some(50.0 - 0.02 * f64::from(k)),
        hydraulic_diameter: Some(8.0),
        inscribed_diameter: Some(7.9),
    };
    let stations = (0..9).map(station).collect();
    let file = |file: &str, digit: &str| FileRecord {
        file: file.to_owned(),
        sha256: digit.repeat(64),
        triangles: Some(384),
    };
    let part = tube([4.0, 5.0], [0.0, 30.0]);
    let count = part.triangles().len();
    let region = [Region::Kept, Region::Replaced, Region::Joint, Region::Fitting];
    let case = read_case(CASE, "case.toml").unwrap();
    let labels = PartLabels {
        part: (0..count)
            .map(|t| PartLabel { region: region[t * 4 / count], side: Side::Bore, end: None })
            .collect(),
        scan: vec![Fate::Kept; count],
    };
    Scene {
        measures: measures(&part, labels.clone()),
        case,
        limits,
        conflicts: Vec::new(),
        mends: Vec::new(),
        ends: vec![EndStations { name: "upper".into(), stations }],
        files: vec![file("inputs/tube.stl", "a"), file("part.stl", "b")],
        notes: vec!["end `upper`: the edge length is 0.25 mm".into()],
        scan: vec![tube([4.0, 5.0], [0.0, 22.0])],
        labels,
        part,
        verdict: Verdict::Held,
    }
}

/// Measures of it, each kind with a figure of each standing.
fn measures(part: &Mesh, labels: PartLabels) -> Measures {
    let at = [4.0, 0.5, 21.25];
    let sure = |value: f64, bounds| Figure::certified(value, bounds, "by all of it");
    let about = |value: f64, off| Figure::estimated(value, off, "at points");
    let percentiles = |of: [f64; 2]| {
        of.map(|p| Percentile { percent: p, value: about(p / 100.0, None) }).to_vec()
    };
    let map = |f: fn(&DVec3) -> f64| VertexMap {
        values: part.points().iter().map(|p| (p.z > 8.0).then(|| f(p))).collect(),
    };
    let ball = |diameter: f64| {
        let diameter = sure(diameter, [diameter, diameter + 0.01]);
        Some(BallAlong { diameter, where_: at, s: -1.5, on: On::Scan })
    };
    let loss = |pascal: f64, warnings: Vec<String>| {
        Some(PressureLoss {
            length: 22.0,
            resistance_per_m3: about(2.18e11 * pascal, Some(3.1e8)),
            loss_pa: Some(about(pascal, Some(0.002))),
            reynolds: Some([2600.25, 2652.5]),
            warnings,
        })
    };
    let section = Section {
        area: 49.9,
        perimeter: 25.1,
        hydraulic_diameter: 7.95,
        circumscribed_diameter: 8.0,
        inscribed_diameter: [7.9, 7.91],
        wall: Some(1.0),
        inscribed_centre: [0.0, 0.0, 20.0],
    };
    let station = |s: f64, curvature| LineStation {
        s,
        at: [0.0, 0.0, 20.0 + s],
        normal: [0.0, 0.0, 1.0],
        on: On::Scan,
        curvature,
        before: Some(section.clone()),
        after: Some(section.clone()),
    };
    let shares =
        |from, to| Histogram { from, to, areas: vec![1.0, 3.0, 2.0], below: 0.0, above: 0.1 };
    Measures {
        doubts: Vec::new(),
        labels,
        deviation: Deviation {
            map: map(|p| 0.01 * (p.z - 18.0)),
            limit: 0.1,
            largest: Some(sure(0.0412, [0.0411, 0.0412])),
            largest_where: Some(at),
            outward: Some(Extreme { value: 0.04, where_: at }),
            inward: Some(Extreme { value: -0.02, where_: at }),
            percentiles: percentiles([50.0, 99.0]),
            area: 22.1,
            area_above_limit: sure(0.0, [0.0, 0.0]),
            histogram: shares(-0.1, 0.1),
        },
        thickness: Thickness {
            map: map(|p| 1.0 + 0.01 * p.z),
            ray: VertexMap::default(),
            ball: VertexMap::default(),
            least: Some(sure(0.998, [0.998, 0.999])),
            least_where: Some(at),
            percentiles: percentiles([1.0, 50.0]),
            ray_percentiles: Vec::new(),
            ball_percentiles: Vec::new(),
            histogram: shares(0.9, 1.5),
        },
        lines: vec![FlowLine {
            from: "upper".into(),
            to: None,
            stop: Stop::Branch,
            stations: vec![station(0.0, None), station(-2.0, Some(0.025))],
            ball_before: ball(7.9),
            ball_after: ball(7.92),
            ball_whole: ball(7.9),
            loss_before: loss(0.912, Vec::new()),
            loss_after: loss(0.871, vec!["the Reynolds number is up to 2653".into()]),
            loss_whole: loss(1.23, vec!["the Reynolds number is up to 2653".into()]),
        }],
        seams: vec![SeamAngles {
            end: "upper".into(),
            seam: "bore, to the scan".into(),
            length: 25.11,
            largest_deg: Some(sure(7.25, [7.25, 7.25])),
            where_: Some(at),
            mean_deg: 2.5,
            along: vec![[0.0, 7.25], [12.0, 1.0]],
        }],
        bulk: Bulk {
            volume: Some(sure(848.23, [848.23 - 1e-9, 848.23 + 1e-9])),
            area: sure(1750.5, [1750.5 - 1e-9, 1750.5 + 1e-9]),
            density_g_cm3: Some(1.1),
            mass_g: Some(sure(0.93305, [0.93305, 0.93305])),
        },
        overhang: Some(Overhang {
            build_direction: [0.0, 0.0, 1.0],
            area: about(12.5, None),
            on_plate: 28.27,
            where_: Some(at),
        }),
        pockets: vec![
            Pockets {
                opens: Opens::Up,
                volume: about(31.4, Some(0.52)),
                cell: 0.0521,
                largest: vec![Pocket { volume: 31.4, depth: 2.5, where_: at }],
            },
            Pockets {
                opens: Opens::Down,
                volume: about(0.0, Some(0.0)),
                cell: 0.0521,
                largest: Vec::new(),
            },
        ],
        voids: vec![ClosedVoid { volume: 0.125, where_: at }],
    }
}

/// A part that does not, with what would hold.
pub fn broken() -> Scene {
    let mut scene = held();
    let at = DVec3::new(4.0, 0.5, 21.25);
    let upper = Some("upper");
    scene.limits[2] = LimitResult::at_least(
        "wall_min",
        upper,
        Some(1.5),
        [1.2412, 1.2414],
        at,
        "thinnest <here> & there",
    );
    scene.limits.push(LimitResult::plain("ball_min", upper, Verdict::NotJudged, "no bore"));
    scene.conflicts = vec![Conflict {
        limits: vec!["wall_min".into(), "deviation".into()],
        end: Some("upper".into()),
        where_: Some(at.to_array()),
        would_hold: vec![
            Wanted {
                key: "limits.wall_min".into(),
                value: WantedValue::Number(1.2),
                known_by: KnownBy::JudgedAgain,
            },
            Wanted {
                key: "end.place.at".into(),
                value: WantedValue::Point([0.0, 0.0, 26.5]),
                known_by: KnownBy::MadeAgain,
            },
        ],
        certain: false,
    }];
    let mend = |kind: &str| MendRecord { kind: kind.into(), where_: [0.5, 4.0, 3.0], size: 0.2 };
    scene.mends = vec![mend("hole"), mend("duplicate")];
    scene.verdict = Verdict::Broken;
    scene
}

impl Scene {
    /// The document; without the part as where none closes.
    pub fn document(&self, has_part: bool) -> Document {
        self.document_with(has_part, Detail::default())
    }

    /// The document in this detail.
    pub fn document_with(&self, has_part: bool, detail: Detail) -> Document {
        let figures = PartFigures {
            triangles: 384,
            vertices: 192,
            area: 1_750.5,
            volume: 848.2,
            shells: 1,
            boundary_edges: 0,
            self_intersections: 0,
        };
        let changed = Changed {
            triangles_kept: 1_288,
            triangles_replaced: 96,
            area_replaced: 22.1234,
            area_given_up: 0.0,
        };
        let evidence = Evidence {
            name: "tube <1>",
            version: "[VERSION]",
            unit: "mm",
            settled: &self.case,
            settled_text: "name = \"<script>alert('no')</script> & \u{4e2d}\"\nunit = \"mm\"\n[end.seam]\nbore = [\n    [4, 0, 20],\n    [0, 4, 20],\n]\n",
            inputs: &self.files[..1],
            outputs: &self.files[1..],
            verdict: self.verdict,
            limits: &self.limits,
            conflicts: &self.conflicts,
            mends: &self.mends,
            part: has_part.then_some((figures, changed)),
            measures: has_part.then_some(&self.measures),
            labels: has_part.then_some(&self.labels),
            ends: &self.ends,
            notes: &self.notes,
            caution: "This proof covers geometry only.",
            scans: &self.scan,
            mesh: has_part.then_some(&self.part),
            stop: spile_mesh::NEVER_STOP,
        };
        document(&evidence, detail)
    }
}
