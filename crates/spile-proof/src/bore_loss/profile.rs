//! Open area over a run of parallel planes, exactly: a piecewise quadratic.
//!
//! Between two neighbouring heights of mesh points the same triangles are cut,
//! every corner of the section moves on a straight line, and the area is a
//! quadratic of the height. A sweep keeps the sum of the cut triangles' shares
//! and changes it at each point passed, so a run costs about as much as the
//! triangles in it. A triangle that lies in a plane makes the area jump there;
//! each side of the jump is its own piece.

use crate::flow_section::{BoreSurface, Frame, Walker};
use spile_mesh::DVec3;

/// A run of parallel planes: heights 0 to `thickness` over `frame`, the station
/// moving straight from the frame's origin to `to`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// The first plane; its origin is the first station.
    pub frame: Frame,
    /// The last station.
    pub to: DVec3,
}

impl Band {
    /// Height of the last station over the first plane.
    pub fn thickness(&self) -> f64 {
        self.frame.height(self.to)
    }

    /// The station at `height`.
    pub fn station(&self, height: f64) -> DVec3 {
        let thickness = self.thickness();
        let share = if thickness > 0.0 { height / thickness } else { 0.0 };
        self.frame.origin.lerp(self.to, share)
    }
}

/// The open area between two heights, by its values at both and in the middle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Piece {
    /// Lower height over the band's first plane.
    pub from: f64,
    /// Upper height.
    pub to: f64,
    /// Area at the lower height, in the middle, at the upper height; none where
    /// no loop closes.
    pub area: Option<[f64; 3]>,
    /// Whether every triangle of the loop is one of those asked for.
    pub is_wanted: bool,
}

impl Piece {
    /// The quadratic a + b x + c x^2 of the area from `low` to `high`, both
    /// within the piece, x from 0 to 1.
    pub fn quadratic(&self, low: f64, high: f64) -> Option<[f64; 3]> {
        let [first, half, last] = self.area?;
        let (b, c) = (4.0 * half - 3.0 * first - last, 2.0 * (first + last) - 4.0 * half);
        let length = self.to - self.from;
        let (start, span) = ((low - self.from) / length, (high - low) / length);
        let a = first + start * (b + start * c);
        Some([a, span * (b + 2.0 * start * c), span * span * c])
    }
}

/// Edges steeper than this share of the band are summed as coefficients; over
/// flatter ones a coefficient would be so large that taking it away again loses
/// digits, and their triangles are evaluated piece by piece.
const FLAT: f64 = 1e-3;
/// The running sum is made anew after this many points, against drift.
const POINTS_A_SUM: usize = 512;

/// The profile of the open area round the band's station, heights rising and
/// without gaps.
///
/// `wanted` is asked of each cut triangle of the outer loop. Cost: O(n log n) in
/// the triangles that the band touches, plus one walk round the section for each
/// point where loops are born, merge, split or end.
pub fn profile(bore: &BoreSurface, band: &Band, wanted: &dyn Fn(u32) -> bool) -> Vec<Piece> {
    let thickness = band.thickness();
    let among = bore.between(&band.frame, 0.0, thickness);
    let mut sweep = Sweep::start(bore, band, &among, wanted);
    let events = sweep.events();
    let mut pieces = Vec::new();
    let mut low = 0.0;
    for passed in events.chunk_by(|a, b| a.point == b.point) {
        let height = passed[0].height;
        if height > low {
            pieces.push(sweep.piece(low, height));
            low = height;
        }
        sweep.pass(passed);
    }
    if thickness > low {
        pieces.push(sweep.piece(low, thickness));
    }
    pieces
}

/// Whether a point is a triangle's lowest, middle or highest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Role {
    Low,
    Middle,
    High,
}

/// The sweep passes this point of this triangle.
#[derive(Debug, Clone, Copy)]
struct Event {
    height: f64,
    point: u32,
    slot: u32,
    role: Role,
}

/// One triangle of the band, corners sorted by height (equal: by index).
#[derive(Debug, Clone, Copy)]
struct Cut {
    triangle: u32,
    /// Corner numbers: low, middle, high.
    order: [usize; 3],
    /// 0 not cut, 1 cut below its middle corner, 2 cut above it.
    phase: u8,
    /// Whether its loop counts: the outer one, or an island in it.
    counts: bool,
    is_outer: bool,
}

struct Sweep<'a> {
    bore: &'a BoreSurface,
    band: &'a Band,
    among: &'a [u32],
    wanted: &'a dyn Fn(u32) -> bool,
    thickness: f64,
    cuts: Vec<Cut>,
    /// Sum of the steep triangles' shares, in powers of height / thickness.
    sum: [f64; 3],
    /// Slots of cut triangles that are evaluated one by one, rising.
    flat: Vec<u32>,
    /// Outer-loop triangles that are not wanted.
    unwanted: usize,
    /// 1 or -1: the outer loop's winding; 0: no loop closes.
    winding: f64,
    is_stale: bool,
    points_passed: usize,
    walker: Walker,
}

impl<'a> Sweep<'a> {
    fn start(
        bore: &'a BoreSurface,
        band: &'a Band,
        among: &'a [u32],
        wanted: &'a dyn Fn(u32) -> bool,
    ) -> Self {
        let cuts = (among.iter())
            .map(|&triangle| {
                let h = bore.corners(triangle).map(|p| band.frame.height(p));
                let points = bore.corner_points(triangle);
                let mut order = [0, 1, 2];
                order.sort_by(|&i, &j| h[i].total_cmp(&h[j]).then(points[i].cmp(&points[j])));
                // What lies at or under the first plane is passed already.
                let passed = order.iter().filter(|&&k| h[k] <= 0.0).count();
                let phase = if passed == 3 { 0 } else { passed as u8 };
                Cut { triangle, order, phase, counts: false, is_outer: false }
            })
            .collect();
        Self {
            bore,
            band,
            among,
            wanted,
            thickness: band.thickness(),
            cuts,
            sum: [0.0; 3],
            flat: Vec::new(),
            unwanted: 0,
            winding: 0.0,
            is_stale: true,
            points_passed: 0,
            walker: Walker::default(),
        }
    }

    /// Points between the band's ends in order, each with its triangles.
    fn events(&self) -> Vec<Event> {
        let mut events = Vec::new();
        for (slot, cut) in self.cuts.iter().enumerate() {
            let h = self.bore.corners(cut.triangle).map(|p| self.band.frame.height(p));
            let points = self.bore.corner_points(cut.triangle);
            for (k, role) in cut.order.into_iter().zip([Role::Low, Role::Middle, Role::High]) {
                if h[k] > 0.0 && h[k] < self.thickness {
                    let (height, point) = (h[k], points[k]);
                    events.push(Event { height, point, slot: slot as u32, role });
                }
            }
        }
        events.sort_unstable_by(|a, b| {
            (a.height.total_cmp(&b.height))
                .then(a.point.cmp(&b.point))
                .then(a.role.cmp(&b.role))
                .then(a.slot.cmp(&b.slot))
        });
        events
    }

    /// Moves the plane over one point.
    fn pass(&mut self, passed: &[Event]) {
        // A point with exactly two triangles of which it is the middle corner
        // lies on one loop before and after; any other may change the loops.
        let middles = || passed.iter().filter(|e| e.role == Role::Middle);
        let of = |e: &Event| self.cuts[e.slot as usize];
        let loops = middles().map(|e| (of(e).counts, of(e).is_outer)).collect::<Vec<_>>();
        let is_regular = loops.len() == 2 && loops[0] == loops[1];
        if !is_regular {
            self.is_stale = true;
        }
        let (counts, is_outer) = loops.first().copied().unwrap_or((false, false));
        for event in passed {
            let slot = event.slot as usize;
            self.add(slot, -1.0);
            let cut = &mut self.cuts[slot];
            cut.phase = match event.role {
                Role::Low => 1,
                Role::Middle => 2,
                Role::High => 0,
            };
            if event.role == Role::Low {
                (cut.counts, cut.is_outer) = (counts, is_outer);
            }
            self.add(slot, 1.0);
        }
        self.points_passed += 1;
        if self.points_passed.is_multiple_of(POINTS_A_SUM) {
            self.sum_anew();
        }
    }

    /// The area from `low` to `high`, between which no point lies.
    fn piece(&mut self, low: f64, high: f64) -> Piece {
        if self.is_stale {
            self.walk(0.5 * (low + high));
            self.is_stale = false;
        }
        let at = |height: f64| {
            let x = height / self.thickness;
            let steep = self.sum[0] + x * (self.sum[1] + x * self.sum[2]);
            let flat: f64 = self.flat.iter().map(|&s| self.share_at(s as usize, height)).sum();
            self.winding * (steep + flat)
        };
        let area = (self.winding != 0.0).then(|| [at(low), at(0.5 * (low + high)), at(high)]);
        Piece { from: low, to: high, area, is_wanted: self.unwanted == 0 }
    }

    /// Finds the loops at `height` anew and which of them count.
    fn walk(&mut self, height: f64) {
        for cut in &mut self.cuts {
            (cut.counts, cut.is_outer) = (false, false);
        }
        let station = self.band.station(height);
        let found =
            self.bore.section(&self.band.frame, height, station, self.among, &mut self.walker);
        self.winding = 0.0;
        if let Some(section) = found {
            self.winding = section.winding;
            let slot = |t: &u32| self.among.binary_search(t);
            for flow in std::iter::once(&section.outer).chain(&section.islands) {
                for i in flow.cut.iter().flat_map(slot) {
                    self.cuts[i].counts = true;
                }
            }
            for i in section.outer.cut.iter().flat_map(slot) {
                self.cuts[i].is_outer = true;
            }
        }
        self.sum_anew();
    }

    fn sum_anew(&mut self) {
        (self.sum, self.unwanted) = ([0.0; 3], 0);
        self.flat.clear();
        for slot in 0..self.cuts.len() {
            self.add(slot, 1.0);
        }
    }

    /// Adds the triangle's share to the sums, or takes it away.
    fn add(&mut self, slot: usize, sign: f64) {
        let cut = self.cuts[slot];
        if cut.phase == 0 || !cut.counts {
            return;
        }
        if cut.is_outer && !(self.wanted)(cut.triangle) {
            self.unwanted = if sign > 0.0 { self.unwanted + 1 } else { self.unwanted - 1 };
        }
        match self.coefficients(slot) {
            Some(share) => {
                for (sum, c) in self.sum.iter_mut().zip(share) {
                    *sum += sign * c;
                }
            }
            None => {
                let slot = slot as u32;
                match self.flat.binary_search(&slot) {
                    Err(place) if sign > 0.0 => self.flat.insert(place, slot),
                    Ok(place) if sign < 0.0 => {
                        self.flat.remove(place);
                    }
                    _ => {}
                }
            }
        }
    }

    /// The crossed edges, each from its lower to its upper corner: first the one
    /// where the loop enters the triangle, then the one where it leaves.
    fn edges(&self, slot: usize) -> [[DVec3; 2]; 2] {
        let cut = self.cuts[slot];
        let corners = self.bore.corners(cut.triangle);
        let [low, middle, high] = cut.order;
        let is_above = |k: usize| k == high || (k == middle && cut.phase == 1);
        let mut edges = [[corners[low]; 2]; 2];
        for k in 0..3 {
            let next = (k + 1) % 3;
            match (is_above(k), is_above(next)) {
                (false, true) => edges[0] = [corners[k], corners[next]],
                (true, false) => edges[1] = [corners[next], corners[k]],
                _ => {}
            }
        }
        edges
    }

    /// The triangle's share of the area as a quadratic of height / thickness;
    /// none where a crossed edge is too flat for that.
    fn coefficients(&self, slot: usize) -> Option<[f64; 3]> {
        let frame = &self.band.frame;
        let mut lines = [[[0.0; 2]; 2]; 2];
        for (line, [p, q]) in lines.iter_mut().zip(self.edges(slot)) {
            let (low, high) = (frame.height(p) / self.thickness, frame.height(q) / self.thickness);
            if high - low < FLAT {
                return None;
            }
            let (a, b) = (frame.flat(p), frame.flat(q));
            let slope = [0, 1].map(|i| (b[i] - a[i]) / (high - low));
            *line = [[0, 1].map(|i| a[i] - low * slope[i]), slope];
        }
        let [[p0, p1], [q0, q1]] = lines;
        let cross = |a: [f64; 2], b: [f64; 2]| a[0] * b[1] - a[1] * b[0];
        Some([0.5 * cross(p0, q0), 0.5 * (cross(p0, q1) + cross(p1, q0)), 0.5 * cross(p1, q1)])
    }

    /// The triangle's share of the area at one height.
    fn share_at(&self, slot: usize, height: f64) -> f64 {
        let frame = &self.band.frame;
        let [a, b] = self.edges(slot).map(|[p, q]| {
            let (low, high) = (frame.height(p), frame.height(q));
            let share =
                if high > low { ((height - low) / (high - low)).clamp(0.0, 1.0) } else { 0.0 };
            frame.flat(p + share * (q - p))
        });
        0.5 * (a[0] * b[1] - a[1] * b[0])
    }
}
