//! The part, cut into pieces along its seams, and what each piece is.

use std::collections::{BTreeSet, VecDeque};

use spile_case::Case;
use spile_mesh::{Mesh, round_to_f32};

use crate::cut_loops::ScanLoop;
use crate::edges::Edges;
use crate::fitting_find::{Face, Found, find};
use crate::fitting_mesh::given;
use crate::labels::{Fault, FittingFrame, Region, Side};
use crate::polyline::{Polyline, height};
use crate::scan_view::ScanView;
use crate::seams::{Seams, find_seams, name};

/// The part's labels, before they are put together with the scan's.
pub(crate) struct PartView {
    pub region: Vec<Region>,
    pub side: Vec<Side>,
    pub end: Vec<Option<usize>>,
    pub seams: Seams,
    /// The fitting of each end, where it was found.
    pub fittings: Vec<Found>,
    pub edges: Edges,
    /// For each end those whose reach holds some of its replaced triangles, too.
    pub overlaps: Vec<BTreeSet<usize>>,
    pub faults: Vec<Fault>,
}

/// What a piece between seams touches.
#[derive(Default)]
struct Contacts {
    has_kept: bool,
    seams: BTreeSet<(usize, Side)>,
    fittings: BTreeSet<(usize, Side)>,
    /// The sides of kept triangles across the scan's own rims and holes.
    rims: BTreeSet<Side>,
}

/// Labels the part. `scan_of` names the scan triangle that each kept one is.
pub(crate) fn look_at_part(
    part: &Mesh,
    case: &Case,
    scan: &ScanView,
    scan_of: &[Option<u32>],
) -> PartView {
    let edges = Edges::of(part);
    let mut faults = Vec::new();
    let seams = find_seams(case, part, &edges, &mut faults);
    let count = part.triangles().len();
    let mut view = PartView {
        region: vec![Region::Replaced; count],
        side: vec![Side::Neither; count],
        end: vec![None; count],
        fittings: Vec::new(),
        seams,
        edges,
        overlaps: vec![BTreeSet::new(); case.ends.len()],
        faults,
    };
    view.find_fittings(part, case);
    let rim_edge = rim_edges(part, &view.edges, scan, scan_of);
    let of_fitting = |v: &PartView, t: u32| {
        v.region[t as usize] == Region::Fitting || v.end[t as usize].is_some()
    };
    let (label, pieces) = {
        let v = &view;
        v.edges.pieces(
            |t| !of_fitting(v, t),
            |e| v.seams.on_edge[e as usize].is_none() && rim_edge[e as usize].is_none(),
        )
    };
    let contacts = view.contacts(&label, pieces, scan, scan_of, &rim_edge);
    let kinds: Vec<Kind> = contacts
        .iter()
        .map(|c| {
            classify(c, case).unwrap_or_else(|(end, text)| {
                view.faults.push(Fault { end, text, at: None });
                Kind { region: Region::Replaced, side: None, end: None }
            })
        })
        .collect();
    for t in 0..count {
        let Some(kind) = kinds.get(label[t] as usize) else { continue };
        view.region[t] = kind.region;
        view.side[t] = kind.side.unwrap_or(Side::Neither);
        view.end[t] = kind.end;
        if kind.region == Region::Replaced
            && let Some(s) = scan_of[t]
        {
            view.region[t] = Region::Kept;
            view.side[t] = scan.side[s as usize];
        }
    }
    view.spread_sides();
    view.check_seam_sides();
    view.split_made_wall(part, case, scan);
    view.assign_replaced(part, case, scan);
    view
}

struct Kind {
    region: Region,
    side: Option<Side>,
    end: Option<usize>,
}

fn classify(c: &Contacts, case: &Case) -> Result<Kind, (Option<usize>, String)> {
    let kind = |region, side, end| Ok(Kind { region, side, end });
    let first_end = c.fittings.iter().chain(&c.seams).map(|&(e, _)| e).next();
    if c.has_kept {
        return if let Some(&(end, side)) = c.fittings.iter().next() {
            let text = format!(
                "the settled seam does not part the scan from the joint on the {}",
                name(side)
            );
            Err((Some(end), text))
        } else {
            kind(Region::Replaced, None, None)
        };
    }
    let made_outside = case.scan.form.makes_wall()
        && c.fittings.iter().chain(&c.seams).all(|&(_, s)| s == Side::Outside)
        && first_end.is_some();
    if made_outside {
        return kind(Region::MadeWall, Some(Side::Outside), None);
    }
    if !c.fittings.is_empty() {
        let mut all = c.fittings.iter().chain(&c.seams);
        let Some(&(end, side)) = all.next() else { return kind(Region::Replaced, None, None) };
        let right = c.fittings.len() == 1 && c.seams.len() == 1 && c.seams.contains(&(end, side));
        if !right || !c.rims.is_empty() {
            let text = format!(
                "the joint's {} does not run from one scan seam to the fitting alone",
                name(side)
            );
            return Err((Some(end), text));
        }
        return kind(Region::Joint, Some(side), Some(end));
    }
    if let Some(end) = first_end {
        let is_ring = c.seams.len() == 2
            && c.seams.contains(&(end, Side::Bore))
            && c.seams.contains(&(end, Side::Outside));
        if is_ring && case.ends[end].fitting.is_none() {
            return kind(Region::EndFace, None, Some(end));
        }
        return if c.seams.len() == 1 {
            kind(Region::Replaced, c.seams.iter().next().map(|&(_, s)| s), None)
        } else {
            Err((Some(end), "new surface joins two seams that are no plain end's".to_owned()))
        };
    }
    if c.rims.contains(&Side::Bore) && c.rims.contains(&Side::Outside) {
        return kind(Region::EndFace, None, None);
    }
    kind(Region::Replaced, c.rims.iter().next().copied(), None)
}

impl PartView {
    fn find_fittings(&mut self, part: &Mesh, case: &Case) {
        for (index, end) in case.ends.iter().enumerate() {
            let mut found = Found::default();
            let from_file = given(case, end);
            if end.fitting.is_some() && from_file.is_none() && FittingFrame::of(case, end).is_none()
            {
                let text = "the fitting's axis has no direction".to_owned();
                self.faults.push(Fault { end: Some(index), text, at: None });
            }
            if let Some(given) = from_file {
                let searched = given.map_err(|text| (text, None));
                match searched.and_then(|g| g.find(part).map_err(|(text, at)| (text, Some(at)))) {
                    Ok(f) => found = f,
                    Err((text, at)) => self.faults.push(Fault { end: Some(index), text, at }),
                }
            } else if let Some(frame) = FittingFrame::of(case, end) {
                match find(part, &self.edges, &frame, case.limits_at(end).chord) {
                    Ok(f) => found = f,
                    Err(text) => {
                        self.faults.push(Fault { end: Some(index), text, at: Some(frame.at) });
                    }
                }
            }
            for &(t, face) in &found.triangles {
                let t = t as usize;
                if self.end[t].is_some() {
                    self.faults.push(Fault {
                        end: Some(index),
                        text: "two ends' fittings share triangles".to_owned(),
                        at: Some(part.corners(t)[0]),
                    });
                }
                (self.region[t], self.side[t]) = match face {
                    Face::Bore => (Region::Fitting, Side::Bore),
                    Face::Outside => (Region::Fitting, Side::Outside),
                    Face::Far => (Region::EndFace, Side::Neither),
                };
                self.end[t] = Some(index);
            }
            self.fittings.push(found);
        }
    }

    fn contacts(
        &self,
        label: &[u32],
        pieces: usize,
        scan: &ScanView,
        scan_of: &[Option<u32>],
        rim_edge: &[Option<u32>],
    ) -> Vec<Contacts> {
        let mut contacts: Vec<Contacts> = (0..pieces).map(|_| Contacts::default()).collect();
        for (t, s) in scan_of.iter().enumerate() {
            if s.is_some()
                && let Some(c) = contacts.get_mut(label[t] as usize)
            {
                c.has_kept = true;
            }
        }
        for e in 0..self.edges.len() as u32 {
            let at = self.edges.triangles(e);
            let fitting = at.iter().find(|&&t| label[t as usize] == u32::MAX);
            let fitting =
                fitting.and_then(|&t| Some((self.end[t as usize]?, self.side[t as usize])));
            for &t in at {
                let Some(c) = contacts.get_mut(label[t as usize] as usize) else { continue };
                c.seams.extend(self.seams.on_edge[e as usize]);
                c.fittings.extend(fitting);
                if let Some(kept) = rim_edge[e as usize]
                    && kept != t
                    && let Some(s) = scan_of[kept as usize]
                {
                    c.rims.insert(scan.side[s as usize]);
                }
            }
        }
        contacts
    }

    /// Gives new triangles on the scan's side the side of the nearest kept one
    /// over the surface, never across a seam.
    fn spread_sides(&mut self) {
        let mut queue: VecDeque<u32> = (0..self.side.len() as u32)
            .filter(|&t| self.region[t as usize] == Region::Kept)
            .filter(|&t| self.side[t as usize] != Side::Neither)
            .collect();
        while let Some(t) = queue.pop_front() {
            for (e, n) in self.edges.neighbours(t).collect::<Vec<_>>() {
                let n = n as usize;
                if self.seams.on_edge[e as usize].is_none()
                    && self.region[n] == Region::Replaced
                    && self.side[n] == Side::Neither
                {
                    self.side[n] = self.side[t as usize];
                    queue.push_back(n as u32);
                }
            }
        }
    }

    /// Each seam must lie between what it says it does: on its scan's side a
    /// triangle of its own side of the wall.
    fn check_seam_sides(&mut self) {
        let mut wrong: BTreeSet<(usize, Side)> = BTreeSet::new();
        for (e, seam) in self.seams.on_edge.iter().enumerate() {
            let Some((end, side)) = *seam else { continue };
            let on_scan: Vec<u32> = self
                .edges
                .triangles(e as u32)
                .iter()
                .copied()
                .filter(|&t| matches!(self.region[t as usize], Region::Kept | Region::Replaced))
                .collect();
            let made = matches!(
                self.region_pair(e as u32),
                [Region::EndFace, Region::MadeWall] | [Region::MadeWall, Region::EndFace]
            );
            let right = on_scan.len() == 1 && self.side[on_scan[0] as usize] == side;
            if !right && !made {
                wrong.insert((end, side));
            }
        }
        for (end, side) in wrong {
            self.faults.push(Fault {
                end: Some(end),
                text: format!(
                    "the settled seam on the {} does not have the scan's {0} on one side and new surface on the other",
                    name(side)
                ),
                at: None,
            });
        }
    }

    fn region_pair(&self, e: u32) -> [Region; 2] {
        match self.edges.triangles(e) {
            &[a, b] => [self.region[a as usize], self.region[b as usize]],
            _ => [Region::Kept; 2],
        }
    }

    /// Of the made outside, what lies beyond a cut and hangs together with that
    /// end's fitting is its joint.
    fn split_made_wall(&mut self, part: &Mesh, case: &Case, scan: &ScanView) {
        if !case.scan.form.makes_wall() {
            return;
        }
        for index in 0..case.ends.len() {
            let plane = scan.ends[index].plane.or_else(|| self.seam_plane(part, case, index));
            let Some(plane) = plane else { continue };
            let mut stack: Vec<u32> = Vec::new();
            for e in 0..self.edges.len() as u32 {
                let at = self.edges.triangles(e);
                if at.iter().any(|&t| {
                    self.region[t as usize] == Region::Fitting
                        && self.end[t as usize] == Some(index)
                }) {
                    stack.extend(
                        at.iter().filter(|&&t| self.region[t as usize] == Region::MadeWall),
                    );
                }
            }
            while let Some(t) = stack.pop() {
                let beyond = part.corners(t as usize).iter().any(|&p| height(plane, p) > 0.0);
                if self.region[t as usize] == Region::MadeWall && beyond {
                    self.region[t as usize] = Region::Joint;
                    self.end[t as usize] = Some(index);
                    stack.extend(self.edges.neighbours(t).map(|(_, n)| n));
                }
            }
        }
    }

    /// The best plane of an end's bore seam.
    pub(crate) fn seam_plane(
        &self,
        part: &Mesh,
        case: &Case,
        index: usize,
    ) -> Option<crate::labels::Plane> {
        let points: Vec<_> =
            self.seams.ends[index].bore.iter().map(|&v| part.points()[v as usize]).collect();
        let spile_case::Site::Rim(rim) = case.ends[index].site else { return None };
        crate::polyline::best_plane(&points, spile_mesh::DVec3::from_array(rim.facing?))
    }

    /// Gives each new triangle on the scan's side the end, of those within whose
    /// reach it lies, whose loop on its side of the wall is nearest: the scan's own at
    /// a cut, the seam at a rim. One that lies beyond every reach gets none.
    fn assign_replaced(&mut self, part: &Mesh, case: &Case, scan: &ScanView) {
        let place = |l: &[u32]| l.iter().map(|&v| part.points()[v as usize]).collect::<Vec<_>>();
        let mut near: Vec<[(Polyline, f64); 2]> = Vec::new();
        for (index, (on_scan, seams)) in scan.ends.iter().zip(&self.seams.ends).enumerate() {
            let of = |own: &ScanLoop, seam: &[u32]| {
                let points = match on_scan.plane {
                    Some(_) => own.points.clone(),
                    None => place(seam),
                };
                let line = Polyline::closed(&points);
                // Without reach only pieces of crossed triangles are due.
                let reach = case.ends[index].reach.unwrap_or_else(|| {
                    let corners = own.triangles.iter().flat_map(|&t| scan.mesh.corners(t as usize));
                    corners.map(|p| line.distance(p)).fold(0.0, f64::max)
                });
                (line, reach + case.limits_at(&case.ends[index]).deviation)
            };
            near.push([of(&on_scan.bore, &seams.bore), of(&on_scan.outside, &seams.outside)]);
        }
        for t in 0..self.region.len() {
            if self.region[t] != Region::Replaced {
                continue;
            }
            let centre = part.corners(t).iter().sum::<spile_mesh::DVec3>() / 3.0;
            let which = usize::from(self.side[t] == Side::Outside);
            let away: Vec<f64> = near.iter().map(|n| n[which].0.distance(centre)).collect();
            self.end[t] = (0..near.len())
                .filter(|&i| away[i] <= near[i][which].1)
                .min_by(|&a, &b| away[a].total_cmp(&away[b]).then(a.cmp(&b)));
            if let Some(end) = self.end[t] {
                let also = (0..near.len()).filter(|&i| i != end && away[i] <= near[i][which].1);
                self.overlaps[end].extend(also);
            }
        }
    }
}

/// Part edges that lie on the scan's own rims and holes: there the kept
/// triangle beside it, and new surface across.
fn rim_edges(
    part: &Mesh,
    edges: &Edges,
    scan: &ScanView,
    scan_of: &[Option<u32>],
) -> Vec<Option<u32>> {
    let mut on_rim = vec![None; edges.len()];
    for (t, s) in scan_of.iter().enumerate() {
        let Some(s) = *s else { continue };
        for e in edges.of_triangle(t as u32) {
            let others = edges.triangles(e).iter().filter(|&&n| scan_of[n as usize].is_none());
            if others.count() == 0 {
                continue;
            }
            let here = edges.points(e).map(|p| part.points()[p as usize]);
            let open = scan.edges.of_triangle(s).into_iter().any(|se| {
                let [a, b] =
                    scan.edges.points(se).map(|p| round_to_f32(scan.mesh.points()[p as usize]));
                let same = [a, b] == here || [b, a] == here;
                let live = scan.edges.triangles(se).iter().filter(|&&x| !scan.idle[x as usize]);
                same && live.count() == 1
            });
            if open {
                on_rim[e as usize] = Some(t as u32);
            }
        }
    }
    on_rim
}
