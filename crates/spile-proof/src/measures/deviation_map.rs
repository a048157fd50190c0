//! How far replaced scan lies from the scan that it replaced, point by point.
//!
//! A point of replaced scan is measured to what the limit `deviation` measures it to.
//! Positive: it lies outside the scan's material, where the wall has grown;
//! negative: where it has lost. Beyond reach it is 0, for the points are the
//! scan's own; joint, fitting, end faces and a made wall have no scan to differ from.

use rayon::prelude::*;
use serde::Serialize;
use spile_mesh::{Bvh, Finder};

use super::figure::{Figure, Histogram, VertexMap, quantiles};
use super::part_points::PartPoints;
use crate::deviation::{gone_on, stands_for};
use crate::labels::{Labelled, Region, Side};
use crate::proof::{LimitResult, Proof, Verdict};

/// A greatest value and its place.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Extreme {
    /// The value, with its sign.
    pub value: f64,
    /// The point of the part.
    #[serde(rename = "where")]
    pub where_: [f64; 3],
}

/// The value that no more than `share` of the area stays below.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Percentile {
    /// Share of the area, in percent.
    pub percent: f64,
    /// The value, without sign.
    pub value: Figure,
}

/// Deviation over the replaced scan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Deviation {
    /// Signed, for each point of the part.
    #[serde(skip)]
    pub map: VertexMap,
    /// What the case asks over all; an end may ask otherwise.
    pub limit: f64,
    /// The greatest distance, both ways, as the proof certifies it; none where nothing was
    /// replaced or an end could not be judged.
    pub largest: Option<Figure>,
    /// Where it is.
    pub largest_where: Option<[f64; 3]>,
    /// The point of replaced scan farthest out of the scan's material.
    pub outward: Option<Extreme>,
    /// The point of replaced scan deepest in the scan's material.
    pub inward: Option<Extreme>,
    /// Half, nine tenths, 95 and 99 percent of the replaced area lie no further off than this.
    pub percentiles: Vec<Percentile>,
    /// Area of replaced scan, as it is in the part.
    pub area: f64,
    /// Its area farther off than the limit.
    pub area_above_limit: Figure,
    /// Area of replaced scan by signed deviation.
    pub histogram: Histogram,
}

/// Percentiles that are shown.
const PERCENTS: [f64; 4] = [50.0, 90.0, 95.0, 99.0];
/// Bins of the histogram, as many on either side of 0.
const BINS: usize = 40;

/// The deviation of each point, and what is told of all.
pub(super) fn deviation(l: &Labelled, points: &PartPoints, proof: &Proof) -> Deviation {
    let (map, middles) = map(l, points);
    let weighted = by_area(l, &map);
    let sizes = sorted_sizes(&weighted);
    let shares = PERCENTS.map(|percent| percent / 100.0);
    let [values, again] = [&sizes, &sorted_sizes(&middles)].map(|from| quantiles(from, &shares));
    let how = "read at the part's points, each weighted by the replaced area at it; accuracy: by how \
               much it comes out otherwise when read at the middles of the triangles instead";
    let read = PERCENTS.iter().zip(values.into_iter().zip(again));
    let percentiles = read.map(|(&percent, (value, other))| Percentile {
        percent,
        value: Figure::estimated(value, Some((value - other).abs()), how),
    });
    let rows: Vec<&LimitResult> = proof.limits.iter().filter(|r| r.name == "deviation").collect();
    let (largest, largest_where) = largest(&rows);
    let limit = l.case.limits.deviation;
    let most = sizes.last().map_or(0.0, |w| w.0).max(limit);
    Deviation {
        limit,
        largest,
        largest_where,
        outward: extreme(l, &map, 1.0),
        inward: extreme(l, &map, -1.0),
        percentiles: percentiles.collect(),
        area: weighted.iter().map(|w| w.1).sum(),
        area_above_limit: above_limit(l, &map, &rows),
        histogram: Histogram::of(&weighted, [-most, most], BINS),
        map,
    }
}

/// The size of each deviation with its area, rising.
fn sorted_sizes(weighted: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut sizes: Vec<(f64, f64)> = weighted.iter().map(|&(d, area)| (d.abs(), area)).collect();
    sizes.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    sizes
}

/// Replaced triangles of one side, what they are held against, and their points that no
/// other triangles brought.
struct Job {
    target: Bvh,
    triangles: Vec<u32>,
    new: Vec<u32>,
}

/// The deviation of each point and, as a second reading, the distance at the middle of each
/// replaced triangle with its area.
pub(super) fn map(l: &Labelled, points: &PartPoints) -> (VertexMap, Vec<(f64, f64)>) {
    let count = l.part.points().len();
    let mut map = VertexMap::empty(count);
    let mut jobs: Vec<Job> = Vec::new();
    let mut taken = vec![false; count];
    for (t, region) in l.region.iter().enumerate() {
        if *region == Region::Kept {
            for v in l.part.triangles()[t] {
                // A kept triangle's points are the scan's.
                map.values[v as usize] = Some(0.0);
                taken[v as usize] = true;
            }
        }
    }
    let ends = l.ends.iter().map(Some).chain([None]);
    for (end, side) in ends.flat_map(|end| [(end, Side::Bore), (end, Side::Outside)]) {
        let of_end = |t: usize| {
            l.region[t] == Region::Replaced
                && l.side[t] == side
                && l.end[t] == end.map(|end| end.index)
        };
        let triangles = l.part_where(of_end);
        if triangles.is_empty() {
            continue;
        }
        let corners = triangles.iter().flat_map(|&t| l.part.triangles()[t as usize]);
        let new: Vec<u32> =
            corners.filter(|&v| !std::mem::replace(&mut taken[v as usize], true)).collect();
        // What belongs to no end is a mend; it has all of its side to be near to.
        let target = match end {
            Some(end) => Bvh::build(&stands_for(l, side, &gone_on(l, end, side))),
            None => Bvh::build_of(&l.scan, &l.scan_where(|t| l.scan_side[t] == side)),
        };
        jobs.push(Job { target, triangles, new });
    }
    let mut middles = Vec::new();
    for Job { target, triangles, new } in &jobs {
        let nearby = || Finder::new(target);
        let read = triangles.par_iter().map_init(nearby, |nearby, &t| {
            if l.stop.is_asked() {
                return None;
            }
            let [a, b, c] = l.part.corners(t as usize);
            let distance = nearby.closest((a + b + c) / 3.0).map(|found| found.distance);
            distance.map(|d| (d, 0.5 * l.part.area_normal(t as usize).length()))
        });
        middles.extend(read.collect::<Vec<_>>().into_iter().flatten());
        let each: Vec<Option<f64>> = new
            .par_iter()
            .map_init(nearby, |nearby, &v| {
                if l.stop.is_asked() {
                    return None;
                }
                let p = l.part.points()[v as usize];
                let found = nearby.closest(p)?;
                let is_out = (p - found.point).dot(points.normal(l, v as usize)) >= 0.0;
                Some(if is_out { found.distance } else { -found.distance })
            })
            .collect();
        for (&v, value) in new.iter().zip(each) {
            map.values[v as usize] = value;
        }
    }
    (map, middles)
}

/// Deviation of each corner of replaced scan with a third of its triangle's area.
fn by_area(l: &Labelled, map: &VertexMap) -> Vec<(f64, f64)> {
    let replaced = l.part_where(|t| l.region[t] == Region::Replaced);
    let corners = replaced.into_iter().flat_map(|t| {
        let area = l.part.area_normal(t as usize).length() / 6.0;
        l.part.triangles()[t as usize].map(|v| (map.values[v as usize], area))
    });
    corners.filter_map(|(d, area)| d.map(|d| (d, area))).collect()
}

fn extreme(l: &Labelled, map: &VertexMap, sign: f64) -> Option<Extreme> {
    let mut best: Option<(f64, usize)> = None;
    for (v, value) in map.values.iter().enumerate() {
        if let Some(d) = value
            && d * sign > best.map_or(0.0, |b| b.0)
        {
            best = Some((d * sign, v));
        }
    }
    let point = |v: usize| l.part.points()[v].to_array();
    best.map(|(d, v)| Extreme { value: d * sign, where_: point(v) })
}

/// The proof's bounds over all ends; none if one has none.
fn largest(rows: &[&LimitResult]) -> (Option<Figure>, Option<[f64; 3]>) {
    let bounds: Option<Vec<[f64; 2]>> = rows.iter().map(|r| r.bounds).collect();
    let Some(bounds) = bounds.filter(|b| !b.is_empty()) else { return (None, None) };
    let [lo, hi] = [0, 1].map(|k| bounds.iter().map(|b| b[k]).fold(0.0, f64::max));
    let worst = rows.iter().max_by(|a, b| {
        let lower = |r: &LimitResult| r.bounds.map_or(0.0, |b| b[0]);
        lower(a).total_cmp(&lower(b))
    });
    let how = "the proof's two-sided distance between replaced scan and scan, over all ends";
    (Some(Figure::certified(hi, [lo, hi], how)), worst.and_then(|r| r.where_))
}

/// Nothing where the limit is held at every end; else read from the points.
fn above_limit(l: &Labelled, map: &VertexMap, rows: &[&LimitResult]) -> Figure {
    if !rows.is_empty() && rows.iter().all(|r| r.verdict == Verdict::Held) {
        return Figure::certified(0.0, [0.0, 0.0], "the limit is held at every end");
    }
    let area = (0..l.region.len()).filter(|&t| l.region[t] == Region::Replaced).map(|t| {
        let limit = match l.end[t] {
            Some(end) => l.limits(&l.ends[end]).deviation,
            None => l.case.limits.deviation,
        };
        let values = l.part.triangles()[t].map(|v| map.values[v as usize].unwrap_or(0.0).abs());
        share_above(values, limit) * 0.5 * l.part.area_normal(t).length()
    });
    let how = "between the part's points the deviation is taken to run straight";
    Figure::estimated(area.sum(), None, how)
}

/// Share of a triangle over which a value that runs straight between these three is
/// above `limit`.
fn share_above(values: [f64; 3], limit: f64) -> f64 {
    let mut d = values.map(|x| x - limit);
    d.sort_unstable_by(f64::total_cmp);
    let [low, mid, high] = d;
    if high <= 0.0 {
        0.0
    } else if low >= 0.0 {
        1.0
    } else if mid <= 0.0 {
        high * high / ((high - low) * (high - mid))
    } else {
        1.0 - low * low / ((mid - low) * (high - low))
    }
}

#[cfg(test)]
mod tests {
    use super::share_above;

    #[test]
    fn the_share_above_a_limit_is_that_of_similar_triangles() {
        // Half-way up a corner: a quarter lies above; half-way up an edge: three.
        assert_eq!(share_above([0.0, 0.0, 2.0], 1.0), 0.25);
        assert_eq!(share_above([2.0, 0.0, 2.0], 1.0), 0.75);
        assert_eq!(share_above([2.0, 3.0, 4.0], 1.0), 1.0);
        assert_eq!(share_above([0.0, 1.0, 1.0], 1.0), 0.0);
    }
}
