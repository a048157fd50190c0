//! The scan by itself: each end's own loops, what its cut removes, which side
//! of the wall each triangle is on, and what lies within reach. Nothing here
//! has seen the part.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use spile_case::{Case, Cut, Form, Rim, Site};
use spile_mesh::{DVec3, Mesh, vertex_triangles};

use crate::cut_loops::{
    Chosen, ScanLoop, choose_from_sheets, choose_nested, choose_single, cut_loops, enclosing,
    lies_within,
};
use crate::edges::Edges;
use crate::labels::{Fault, Plane, Side};
use crate::polyline::{Polyline, height};

/// One end on the scan.
#[derive(Default)]
pub(crate) struct ScanEnd {
    /// The asked plane; none at a rim.
    pub plane: Option<Plane>,
    /// The loop on the bore; empty where it could not be told.
    pub bore: ScanLoop,
    /// The loop on the outside; empty for form bore, or where it could not be told.
    pub outside: ScanLoop,
}

/// The scan as every check sees it.
pub(crate) struct ScanView {
    /// All files in one mesh, points at one place in one file made one.
    pub mesh: Mesh,
    /// Its edges.
    pub edges: Edges,
    /// Second copies of a triangle and triangles that name a point twice.
    pub idle: Vec<bool>,
    /// The ends in the case's order.
    pub ends: Vec<ScanEnd>,
    /// The end whose cut removes it.
    pub removed: Vec<Option<usize>>,
    /// The side of each triangle.
    pub side: Vec<Side>,
    /// What could not be told.
    pub faults: Vec<Fault>,
    /// An open loop smaller across than this is a hole: as the case says, else
    /// twice the median edge.
    pub hole_max: f64,
}

impl ScanView {
    /// Looks at the scan with the case's ends in mind.
    pub(crate) fn of(mesh: Mesh, inner_triangles: usize, case: &Case) -> Self {
        let edges = Edges::of(&mesh);
        let idle = idle_triangles(&mesh);
        let mut view = Self {
            ends: Vec::new(),
            removed: vec![None; mesh.triangles().len()],
            side: Vec::new(),
            faults: Vec::new(),
            hole_max: 0.0,
            idle,
            edges,
            mesh,
        };
        view.hole_max = case.scan.hole_max.unwrap_or_else(|| 2.0 * median_edge(&view.mesh));
        let rims = view.rims(view.hole_max);
        for (index, end) in case.ends.iter().enumerate() {
            let found = match end.site {
                Site::Cut(cut) => view.end_at_cut(cut, case.scan.form, inner_triangles),
                Site::Rim(rim) => view.end_at_rim(rim, &rims, case.scan.form, inner_triangles),
                Site::Station(_) => Err("the end's cut is not settled".to_owned()),
            };
            let found = found.unwrap_or_else(|text| {
                view.faults.push(Fault { end: Some(index), text, at: None });
                ScanEnd::default()
            });
            view.ends.push(found);
        }
        for index in 0..view.ends.len() {
            view.remove_beyond(index);
        }
        view.side = match case.scan.form {
            Form::Bore | Form::Cavity => vec![Side::Bore; view.mesh.triangles().len()],
            Form::Sheets => (0..view.mesh.triangles().len())
                .map(|t| if t < inner_triangles { Side::Bore } else { Side::Outside })
                .collect(),
            Form::Shell => view.sides_by_flood(),
        };
        view
    }

    /// The loops of the branch that a cut's point is near.
    pub(crate) fn end_at_cut(&self, cut: Cut, form: Form, inner: usize) -> Result<ScanEnd, String> {
        let through = DVec3::from_array(cut.through);
        let normal = DVec3::from_array(cut.facing)
            .try_normalize()
            .ok_or_else(|| "the cut's facing has no direction".to_owned())?;
        let plane = Plane { point: through, normal };
        let (loops, _) = cut_loops(&self.mesh, &self.edges, plane, &self.idle);
        let Chosen { bore, outside } = match form {
            Form::Shell => choose_nested(loops, through, normal)?,
            Form::Sheets => choose_from_sheets(loops, |t| (t as usize) < inner, through, normal)?,
            Form::Bore | Form::Cavity => choose_single(loops, through)?,
        };
        Ok(ScanEnd { plane: Some(plane), bore, outside: outside.unwrap_or_default() })
    }

    /// Open loops of the scan that are wider than a hole.
    pub(crate) fn rims(&self, hole_max: f64) -> Vec<ScanLoop> {
        let open = |e: u32| self.triangles_at(e).count() == 1;
        let loops = self.edges.loops(open).into_iter().flatten();
        loops
            .map(|points| ScanLoop {
                triangles: (0..points.len())
                    .filter_map(|i| self.edges.find(points[i], points[(i + 1) % points.len()]))
                    .flat_map(|e| self.triangles_at(e).collect::<Vec<_>>())
                    .collect(),
                points: points.iter().map(|&p| self.mesh.points()[p as usize]).collect(),
            })
            .filter(|l| spile_mesh::Bounds3::of(l.points.iter().copied()).diagonal() >= hole_max)
            .collect()
    }

    /// The scan's own rims on one side of the wall that no cut removes, each as
    /// the coordinates that the part carries.
    pub(crate) fn rim_points(&self, side: Side) -> Vec<Vec<DVec3>> {
        let rims = self.rims(self.hole_max).into_iter();
        let stays = |l: &ScanLoop| {
            l.triangles.first().is_some_and(|&t| {
                self.removed[t as usize].is_none() && self.side[t as usize] == side
            })
        };
        rims.filter(stays)
            .map(|l| l.points.into_iter().map(spile_mesh::round_to_f32).collect())
            .collect()
    }

    fn triangles_at(&self, e: u32) -> impl Iterator<Item = u32> + '_ {
        self.edges.triangles(e).iter().copied().filter(|&t| !self.idle[t as usize])
    }

    fn end_at_rim(
        &self,
        rim: Rim,
        rims: &[ScanLoop],
        form: Form,
        inner: usize,
    ) -> Result<ScanEnd, String> {
        let facing = rim
            .facing
            .and_then(|f| DVec3::from_array(f).try_normalize())
            .ok_or_else(|| "the rim's facing has no direction".to_owned())?;
        let near = DVec3::from_array(rim.near);
        let pick = |among: &dyn Fn(usize) -> bool, distance: &dyn Fn(&Polyline) -> f64| {
            (0..rims.len())
                .filter(|&i| among(i))
                .map(|i| (distance(&Polyline::closed(&rims[i].points)), i))
                .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))
                .map(|(_, i)| i)
        };
        let first = pick(&|_| true, &|line| line.distance(near))
            .ok_or_else(|| "the scan has no open rim".to_owned())?;
        if form.makes_wall() {
            return Ok(ScanEnd { bore: rims[first].clone(), ..ScanEnd::default() });
        }
        let is_inner = |i: usize| (rims[i].triangles[0] as usize) < inner;
        let mean = |line: &Polyline| {
            let p = &rims[first].points;
            p.iter().map(|&p| line.distance(p)).sum::<f64>() / p.len() as f64
        };
        let other_sheet = |i: usize| form != Form::Sheets || is_inner(i) != is_inner(first);
        let partner = pick(&|i| i != first && other_sheet(i), &mean)
            .ok_or_else(|| "the rim has no partner on the other side of the wall".to_owned())?;
        let (a, b) = (&rims[first], &rims[partner]);
        let (bore, outside) = if lies_within(&a.points, &b.points, facing) {
            (a, b)
        } else if lies_within(&b.points, &a.points, facing) {
            (b, a)
        } else {
            return Err("the rim and the one nearest to it do not lie one inside the other".into());
        };
        if form == Form::Sheets && bore.triangles[0] as usize >= inner {
            return Err("at the rim the inner sheet runs round the outer one".to_owned());
        }
        Ok(ScanEnd { plane: None, bore: bore.clone(), outside: outside.clone() })
    }

    /// Floods what lies beyond a cut's own loops. What the plane does to other
    /// branches does not stop the flood.
    fn remove_beyond(&mut self, index: usize) {
        let end = &self.ends[index];
        let Some(plane) = end.plane else { return };
        let mut at_loop = vec![false; self.mesh.triangles().len()];
        for &t in end.bore.triangles.iter().chain(&end.outside.triangles) {
            at_loop[t as usize] = true;
        }
        let above = |p: u32| height(plane, self.mesh.points()[p as usize]) >= 0.0;
        let around = vertex_triangles(&self.mesh);
        let mut reached = vec![false; self.mesh.points().len()];
        let mut stack: Vec<u32> = Vec::new();
        for &t in end.bore.triangles.iter().chain(&end.outside.triangles) {
            for p in self.mesh.triangles()[t as usize] {
                if above(p) && !std::mem::replace(&mut reached[p as usize], true) {
                    stack.push(p);
                }
            }
        }
        let mut gone = Vec::new();
        while let Some(p) = stack.pop() {
            for &t in around.of(p).iter().filter(|&&t| !self.idle[t as usize]) {
                let barred = at_loop[t as usize];
                if !barred {
                    gone.push(t);
                }
                for q in self.mesh.triangles()[t as usize] {
                    let open = !barred || above(q);
                    if open && !std::mem::replace(&mut reached[q as usize], true) {
                        stack.push(q);
                    }
                }
            }
        }
        let leak = end.bore.triangles.iter().chain(&end.outside.triangles).find_map(|&t| {
            let c = self.mesh.triangles()[t as usize];
            c.into_iter().find(|&p| !above(p) && reached[p as usize])
        });
        if let Some(p) = leak {
            self.faults.push(Fault {
                end: Some(index),
                text: "the cut's loops do not part the scan: what lies beyond them hangs together \
                       with what stays"
                    .to_owned(),
                at: Some(self.mesh.points()[p as usize]),
            });
            return;
        }
        gone.extend((0..self.idle.len() as u32).filter(|&t| {
            let c = self.mesh.triangles()[t as usize];
            self.idle[t as usize] && c.into_iter().all(|p| reached[p as usize])
        }));
        for t in gone {
            self.removed[t as usize].get_or_insert(index);
        }
    }

    /// Spreads bore and outside from the ends' loops over what stays; each
    /// triangle takes the side of the loop that is nearest over the surface.
    fn sides_by_flood(&self) -> Vec<Side> {
        let mut side = vec![Side::Neither; self.mesh.triangles().len()];
        let centre = |t: u32| self.mesh.corners(t as usize).iter().sum::<DVec3>() / 3.0;
        let mut queue = BinaryHeap::new();
        // Non-negative f64 sort as their bits do.
        for end in &self.ends {
            for (l, code) in [(&end.bore, 0_u8), (&end.outside, 1)] {
                queue.extend(l.triangles.iter().map(|&t| Reverse((0_u64, code, t))));
            }
        }
        while let Some(Reverse((bits, code, t))) = queue.pop() {
            if side[t as usize] != Side::Neither || self.removed[t as usize].is_some() {
                continue;
            }
            side[t as usize] = if code == 0 { Side::Bore } else { Side::Outside };
            for (_, n) in self.edges.neighbours(t) {
                if side[n as usize] == Side::Neither {
                    let so_far = f64::from_bits(bits) + (centre(n) - centre(t)).length();
                    queue.push(Reverse((so_far.to_bits(), code, n)));
                }
            }
        }
        side
    }

    /// Cuts the scan at some depths below an end's plane and compares: a loop
    /// there that runs through triangles within reach must be of one side, and
    /// on the bore exactly if an odd number of loops runs round it. `within` tells
    /// which triangles count; a plane that meets an open rim tells nothing.
    pub(crate) fn contradiction(
        &self,
        plane: Plane,
        depths: &[f64],
        within: &[bool],
    ) -> Option<(String, DVec3)> {
        for &depth in depths {
            let deeper = Plane { point: plane.point - depth * plane.normal, ..plane };
            let (loops, any_open) = cut_loops(&self.mesh, &self.edges, deeper, &self.idle);
            if any_open {
                continue;
            }
            for (l, round) in loops.iter().zip(enclosing(&loops, plane.normal)) {
                if !l.triangles.iter().all(|&t| within[t as usize]) {
                    continue;
                }
                let nested = if round.len() % 2 == 1 { Side::Bore } else { Side::Outside };
                if let Some(&t) = l.triangles.iter().find(|&&t| self.side[t as usize] != nested) {
                    let text = format!(
                        "bore and outside cannot be told apart: {depth:.3} below the cut a section \
                         loop that lies inside {} others runs over surface of the other side",
                        round.len()
                    );
                    return Some((text, self.mesh.corners(t as usize)[0]));
                }
            }
        }
        None
    }

    /// The triangles within reach of an end on one side: they are `own`, their
    /// corners are `near`, and they hang together with `start` through such
    /// triangles. What a cut removes never counts.
    pub(crate) fn connected(
        &self,
        start: &[u32],
        own: impl Fn(u32) -> bool,
        near: impl Fn([DVec3; 3]) -> bool,
    ) -> Vec<u32> {
        let passes = |t: u32| {
            self.removed[t as usize].is_none() && own(t) && near(self.mesh.corners(t as usize))
        };
        let mut seen = std::collections::BTreeSet::new();
        let mut stack: Vec<u32> =
            start.iter().copied().filter(|&t| passes(t) && seen.insert(t)).collect();
        while let Some(t) = stack.pop() {
            for (_, n) in self.edges.neighbours(t) {
                if !seen.contains(&n) && passes(n) {
                    seen.insert(n);
                    stack.push(n);
                }
            }
        }
        seen.into_iter().collect()
    }
}

/// The edge length in the middle when all triangles' edges are sorted by length.
pub(crate) fn median_edge(mesh: &Mesh) -> f64 {
    let sides = (0..mesh.triangles().len()).flat_map(|t| {
        let c = mesh.corners(t);
        [(c[1] - c[0]).length(), (c[2] - c[1]).length(), (c[0] - c[2]).length()]
    });
    let mut lengths: Vec<f64> = sides.collect();
    if lengths.is_empty() {
        return 0.0;
    }
    let middle = lengths.len() / 2;
    *lengths.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// Second and later copies of a triangle, and triangles that name a point twice.
fn idle_triangles(mesh: &Mesh) -> Vec<bool> {
    let mut keys: Vec<([u32; 3], u32)> = (0..mesh.triangles().len())
        .map(|t| {
            let mut k = mesh.triangles()[t];
            k.sort_unstable();
            (k, t as u32)
        })
        .collect();
    keys.sort_unstable();
    let mut idle = vec![false; keys.len()];
    for i in 0..keys.len() {
        let [a, b, c] = keys[i].0;
        idle[keys[i].1 as usize] = a == b || b == c || (i > 0 && keys[i - 1].0 == keys[i].0);
    }
    idle
}

#[cfg(test)]
mod tests;
