//! The limit `closed`: one outward shell, consistently oriented, every edge
//! shared by exactly two triangles, no self-intersection by exact test; inner
//! voids only if the scan had them.

use spile_case::Inherit;
use spile_mesh::self_intersections;
use spile_mesh::{Bounds3, DVec3, Mesh, round_to_f32};

use crate::edges::Edges;
use crate::labels::{Labelled, Region};
use crate::proof::{LimitResult, PartFigures, Verdict};

/// What is counted on the way; goes into the part's figures.
pub(crate) struct Closed {
    /// The limit.
    pub result: LimitResult,
    /// The part's figures.
    pub figures: PartFigures,
}

/// Judges `closed` on the part as given and, where points share a place, as it
/// is once they are one point, which is how a file of loose triangles reads.
pub(crate) fn judge_closed(l: &Labelled, given: &Mesh) -> Closed {
    let mut faults: Vec<(String, Option<DVec3>)> = Vec::new();
    if let Some(p) = given.points().iter().find(|&&p| p + DVec3::ZERO != round_to_f32(p)) {
        faults.push(("a coordinate is no 32-bit number, so no file can carry it".into(), Some(*p)));
    }
    let boundary = edge_faults(given, &Edges::of(given), "", &mut faults);
    let welded = given.triangles() != l.part.triangles();
    if welded {
        edge_faults(l.part, &l.part_edges, " once points at one place are one point", &mut faults);
    }
    let shells = shell_faults(l, &mut faults);
    let pairs = self_intersections(l.part);
    let notes = intersection_faults(l, &pairs, &mut faults);
    let figures = PartFigures {
        triangles: given.triangles().len(),
        vertices: used_points(given),
        area: l.part.area(),
        volume: l.part.volume(),
        shells,
        boundary_edges: boundary,
        self_intersections: pairs.len(),
    };
    let verdict = if faults.is_empty() { Verdict::Held } else { Verdict::Broken };
    let how = if faults.is_empty() {
        format!(
            "every edge has two triangles that run along it oppositely, one shell faces outward, \
             no two triangles meet where they must not (exact test on the coordinates as written){notes}"
        )
    } else {
        let texts: Vec<&str> = faults.iter().map(|(text, _)| text.as_str()).collect();
        texts.join("; ") + &notes
    };
    let where_ = faults.iter().find_map(|(_, at)| *at).map(|p| p.to_array());
    let result = LimitResult { where_, ..LimitResult::plain("closed", None, verdict, how) };
    Closed { result, figures }
}

fn used_points(mesh: &Mesh) -> usize {
    let mut used = vec![false; mesh.points().len()];
    for &p in mesh.triangles().iter().flatten() {
        used[p as usize] = true;
    }
    used.iter().filter(|&&u| u).count()
}

/// Edges that are not shared by exactly two oppositely directed triangles.
/// Gives the number of edges with one triangle.
fn edge_faults(
    mesh: &Mesh,
    edges: &Edges,
    when: &str,
    faults: &mut Vec<(String, Option<DVec3>)>,
) -> usize {
    let (mut open, mut many, mut turned, mut collapsed) =
        (Tally::new(), Tally::new(), Tally::new(), Tally::new());
    for (t, &[a, b, c]) in mesh.triangles().iter().enumerate() {
        if a == b || b == c || c == a {
            collapsed.add(mesh.corners(t)[0]);
        }
    }
    for e in 0..edges.len() as u32 {
        let [a, b] = edges.points(e);
        let at = || 0.5 * (mesh.points()[a as usize] + mesh.points()[b as usize]);
        let runs_forward = |t: u32| {
            let c = mesh.triangles()[t as usize];
            (0..3).any(|k| c[k] == a && c[(k + 1) % 3] == b)
        };
        match edges.triangles(e) {
            [_] => open.add(at()),
            &[s, t] if runs_forward(s) == runs_forward(t) => turned.add(at()),
            [_, _] => {}
            _ => many.add(at()),
        }
    }
    for (tally, what) in [
        (&open, "edges have one triangle only"),
        (&many, "edges have more than two triangles"),
        (&turned, "edges have two triangles that face opposite ways"),
        (&collapsed, "triangles name one point twice"),
    ] {
        if tally.count > 0 {
            faults.push((format!("{} {what}{when}", tally.count), tally.first));
        }
    }
    open.count
}

struct Tally {
    count: usize,
    first: Option<DVec3>,
}

impl Tally {
    fn new() -> Self {
        Self { count: 0, first: None }
    }

    fn add(&mut self, at: DVec3) {
        self.count += 1;
        self.first.get_or_insert(at);
    }
}

/// One shell must face outward; others must be voids that the scan had, inside it.
fn shell_faults(l: &Labelled, faults: &mut Vec<(String, Option<DVec3>)>) -> usize {
    let (label, count) = l.part_edges.pieces(|_| true, |_| true);
    let mut of: Vec<Vec<u32>> = vec![Vec::new(); count];
    for (t, &piece) in label.iter().enumerate() {
        of[piece as usize].push(t as u32);
    }
    let volume: Vec<f64> = of.iter().map(|ts| shell_volume(l.part, ts)).collect();
    let outward: Vec<usize> = (0..count).filter(|&s| volume[s] > 0.0).collect();
    let first_of = |s: usize| l.part.corners(of[s][0] as usize)[0];
    // The part is the largest; what lies loose beside it is told by its place.
    let Some(main) = outward.iter().copied().max_by(|&a, &b| volume[a].total_cmp(&volume[b]))
    else {
        let at = (count > 0).then(|| first_of(0));
        faults.push(("no shell faces outward, one should".to_owned(), at));
        return count;
    };
    if let Some(&other) = outward.iter().find(|&&s| s != main) {
        let text = format!("{} shells face outward, one should", outward.len());
        faults.push((text, Some(first_of(other))));
        return count;
    }
    for s in (0..count).filter(|&s| s != main) {
        let at = first_of(s);
        let is_scan = of[s].iter().all(|&t| l.region[t as usize] == Region::Kept);
        if !is_scan || !was_closed_in_scan(l, &of[s]) {
            faults.push(("an inner void is none that the scan had".to_owned(), Some(at)));
        } else if winding_number(l.part, &of[main], at) < 0.5 {
            faults.push((
                "a shell that faces inward does not lie inside the part".to_owned(),
                Some(at),
            ));
        }
    }
    count
}

/// Whether these kept triangles were a closed surface of their own in the scan.
fn was_closed_in_scan(l: &Labelled, triangles: &[u32]) -> bool {
    let scan: std::collections::BTreeSet<u32> =
        triangles.iter().filter_map(|&t| l.scan_of[t as usize]).collect();
    scan.iter().all(|&s| {
        l.scan_view.edges.of_triangle(s).into_iter().all(|e| {
            let at = l.scan_view.edges.triangles(e);
            at.len() == 2 && at.iter().all(|t| scan.contains(t))
        })
    })
}

pub(crate) fn shell_volume(mesh: &Mesh, triangles: &[u32]) -> f64 {
    let o = mesh.corners(triangles[0] as usize)[0];
    triangles
        .iter()
        .map(|&t| {
            let [a, b, c] = mesh.corners(t as usize).map(|p| p - o);
            a.dot(b.cross(c)) / 6.0
        })
        .sum()
}

/// How often the closed shell winds round `p`: 1 inside, 0 outside, by the
/// solid angles of its triangles (Van Oosterom and Strackee 1983).
fn winding_number(mesh: &Mesh, triangles: &[u32], p: DVec3) -> f64 {
    let solid: f64 = triangles
        .iter()
        .map(|&t| {
            let [a, b, c] = mesh.corners(t as usize).map(|q| q - p);
            let (la, lb, lc) = (a.length(), b.length(), c.length());
            let below = la * lb * lc + a.dot(b) * lc + b.dot(c) * la + c.dot(a) * lb;
            2.0 * a.dot(b.cross(c)).atan2(below)
        })
        .sum();
    solid / (4.0 * std::f64::consts::PI)
}

/// Intersections are faults unless both triangles are the scan's, untouched,
/// and the case lets them stay. Gives a remark on those.
fn intersection_faults(
    l: &Labelled,
    pairs: &[(u32, u32)],
    faults: &mut Vec<(String, Option<DVec3>)>,
) -> String {
    let kept = |t: u32| l.region[t as usize] == Region::Kept;
    let (old, new): (Vec<_>, Vec<_>) = pairs.iter().partition(|&&(a, b)| kept(a) && kept(b));
    // The middle of the smaller of the two: they meet near it.
    let corners = |t: u32| l.part.corners(t as usize);
    let at = |pairs: &[(u32, u32)]| {
        let smaller = |&(a, b): &(u32, u32)| {
            let size = |t: u32| Bounds3::of(corners(t)).diagonal();
            if size(b) < size(a) { b } else { a }
        };
        pairs.first().map(|pair| corners(smaller(pair)).iter().sum::<DVec3>() / 3.0)
    };
    if !new.is_empty() {
        faults.push((format!("{} pairs of triangles intersect", new.len()), at(&new)));
    }
    let inherits = l.case.scan.inherit.contains(&Inherit::SelfIntersection);
    match (old.is_empty(), inherits) {
        (true, _) => String::new(),
        (false, true) => {
            format!(
                "; {} intersecting pairs among untouched triangles are the scan's own and let stay",
                old.len()
            )
        }
        (false, false) => {
            let text = format!(
                "{} pairs of untouched triangles intersect in the scan already, and `inherit` does not name them",
                old.len()
            );
            faults.push((text, at(&old)));
            String::new()
        }
    }
}
